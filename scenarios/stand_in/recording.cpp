#include "recording.hpp"

#include "sound/bowed_string.hpp"
#include "sound/thinner.hpp"
#include "sound/unevenness.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <span>

namespace bowarm::stand_in
{
namespace
{

constexpr double level = 0.1;

std::vector<float> bowed(const Take& take, Hertz frequency)
{
    bowarm::StringMake make{take.impedance, KilogramsPerSecond{30}};
    make.twist_return = 0.85;
    BowedString string{make, Hertz{recording_rate * oversampling}};
    string.tune(Seconds{1 / frequency.value});
    string.be_still();
    Unevenness rosin;
    Thinner thinner;
    const auto count = static_cast<std::size_t>(length_of(take.sound).value * recording_rate);
    std::vector<float> out(count);
    double steady = 0; // the push along with the bow is no sound
    for (std::size_t i = 0; i < count * oversampling; ++i) {
        const Seconds t{static_cast<double>(i) / (recording_rate * oversampling)};
        Touch touch = touch_at(take, t);
        touch.speed = touch.speed * (1 + 0.15 * rosin.next());
        string.step(touch.speed, touch.force, touch.beta);
        const double force = string.bridge_force().value;
        steady += 0.0005 * (force - steady);
        thinner.put(force - steady);
        if (i % oversampling == oversampling - 1) out[i / oversampling] = static_cast<float>(thinner.get());
    }
    return out;
}

double likeness(std::span<const float> sound, std::size_t lag)
{
    double both = 0, one = 0, other = 0;
    for (std::size_t i = 0; i + lag < sound.size(); ++i) {
        const double a = sound[i], b = sound[i + lag];
        both += a * b;
        one += a * a;
        other += b * b;
    }
    return one > 0 && other > 0 ? both / std::sqrt(one * other) : 0;
}

// Samples a period, within half a semitone of what was asked for: the lag of several periods at which the sound is most like
// itself, and the top of the parabola through its neighbours.
double period_of(std::span<const float> sound, double expected)
{
    const double periods = std::clamp(std::floor(static_cast<double>(sound.size()) / expected / 3), 1.0, 8.0);
    const auto low = static_cast<std::size_t>(expected * periods * (1 - 0.03));
    const auto high = static_cast<std::size_t>(expected * periods * (1 + 0.03)) + 1;
    std::size_t best = low;
    double most = -1;
    for (std::size_t lag = low; lag <= high; ++lag)
        if (const double like = likeness(sound, lag); like > most) {
            most = like;
            best = lag;
        }
    const double before = likeness(sound, best - 1), after = likeness(sound, best + 1);
    const double bend = before - 2 * most + after;
    const double top = bend < 0 ? 0.5 * (before - after) / bend : 0;
    return (static_cast<double>(best) + top) / periods;
}

std::size_t samples(Seconds t) { return static_cast<std::size_t>(t.value * recording_rate); }

double rms(std::span<const float> sound)
{
    double sum = 0;
    for (const float x : sound) sum += static_cast<double>(x) * x;
    return std::sqrt(sum / static_cast<double>(std::max<std::size_t>(1, sound.size())));
}

// Of the loudest twentieth of a second: short sounds are compared by that.
double loudest(std::span<const float> sound)
{
    const std::size_t window = samples(Seconds{0.05});
    double most = 1e-9;
    for (std::size_t i = 0; i + window <= sound.size(); i += window / 4) most = std::max(most, rms(sound.subspan(i, window)));
    return most;
}

// Every recording's fundamental begins at the top of its swing, reckoned back from where it is steady, so that layers which are
// played together at one pitch swing together and do not cancel out.
void align(std::vector<float>& sound, std::size_t steady, double period)
{
    const double step = 2 * std::numbers::pi / period;
    const auto whole = static_cast<std::size_t>(std::floor(0.1 * recording_rate / period) * period);
    std::complex<double> sum;
    for (std::size_t i = steady; i < steady + whole; ++i)
        sum += static_cast<double>(sound[i]) * std::polar(1.0, -step * static_cast<double>(i));
    const double turns = -std::arg(sum) / (2 * std::numbers::pi);
    const auto dropped = static_cast<std::ptrdiff_t>(std::lround((turns - std::floor(turns)) * period));
    sound.erase(sound.begin(), sound.begin() + dropped);
}

// Whole periods, their number such that they are nearly whole samples; where it is a rhythm, nearly whole beats.
std::size_t loop_length(std::size_t room, double period, Seconds beat)
{
    const double beats = beat.value * recording_rate;
    if (beats > 0)
        return static_cast<std::size_t>(std::lround(std::round(std::floor(static_cast<double>(room) / beats) * beats / period) * period));
    const auto most = static_cast<int>(static_cast<double>(room) / period);
    const auto away = [&](int n) { return std::abs(n * period - std::round(n * period)); };
    int best = most;
    for (int n = most; n > most * 3 / 4; --n)
        if (away(n) < away(best)) best = n;
    return static_cast<std::size_t>(std::lround(best * period));
}

// The end of the loop goes over into what comes before its beginning.
void close_loop(std::vector<float>& sound, std::size_t begin, std::size_t length)
{
    const std::size_t across = samples(Seconds{0.03});
    sound.resize(begin + length);
    for (std::size_t i = 0; i < across; ++i) {
        const float part = static_cast<float>(i) / static_cast<float>(across);
        float& end = sound[begin + length - across + i];
        end += part * (sound[begin - across + i] - end);
    }
}

void fade_out(std::vector<float>& sound)
{
    const std::size_t over = samples(Seconds{0.05});
    for (std::size_t i = 0; i < over; ++i) sound[sound.size() - 1 - i] *= static_cast<float>(i) / static_cast<float>(over);
}

} // namespace

Recording record(const Take& take, Hertz frequency)
{
    Recording out;
    out.samples = bowed(take, frequency);
    const std::size_t loop = samples(loop_from(take.sound));
    const std::span<const float> all{out.samples};
    const std::span<const float> steady =
        loop > 0 ? all.subspan(loop, samples(Seconds{0.4})) : all.subspan(samples(Seconds{0.04}), samples(Seconds{0.1}));
    const double period = period_of(steady, recording_rate / frequency.value);
    const auto gain = static_cast<float>(level / (loop > 0 ? rms(steady) : loudest(all)));
    out.frequency = Hertz{recording_rate / period};
    for (float& x : out.samples) x *= gain;
    if (loop > 0) {
        align(out.samples, loop, period);
        close_loop(out.samples, loop, loop_length(out.samples.size() - loop, period, beat_of(take.sound)));
        out.loop_begin = loop;
    } else {
        fade_out(out.samples);
        out.loop_begin = out.samples.size();
    }
    return out;
}

} // namespace bowarm::stand_in
