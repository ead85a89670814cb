#include "voice.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace bowarm::stand_in
{
namespace
{

// A player's hand: ours, small enough for any style.  It comes in when a note has lasted a while.
constexpr double vibrato_hertz = 5.4;
constexpr double vibrato_depth = 0.004; // of the frequency: 7 cents each way
constexpr double vibrato_after_s = 0.35, vibrato_rise_s = 0.3;

} // namespace

Voice::Voice(const Sounds& sounds, const Start& start) noexcept
    : mix_(start.mix), rate_(start.rate), waiting_(start.later.value * start.rate), level_(start.rise.value > 0 ? 0 : 1),
      rise_(start.rise.value > 0 ? 1 / (start.rise.value * start.rate) : 0), key_(start.key), sounds_(true)
{
    for (int layer = 0; layer < layer_count; ++layer) {
        const Recording& recording = sounds.nearest(start.sound, layer, key_);
        const double step = hertz(key_) / recording.frequency * recording_rate / rate_;
        streams_[static_cast<std::size_t>(layer)] = {&recording, start.skip.value * rate_ * step, step};
    }
    dies_ = streams_[0].recording->loop_begin == streams_[0].recording->samples.size();
    sings_ = start.sound == Sound::sustained || start.sound == Sound::marcato;
}

void Voice::end(Seconds later, Seconds fade) noexcept
{
    if (ending_) return;
    ending_ = true;
    until_fade_ = later.value * rate_;
    fade_ = 1 / (fade.value * rate_);
}

// Between four samples, a cubic through the middle two with the slopes of their neighbours (Catmull & Rom 1974).
float Voice::read(const Recording& recording, double place) noexcept
{
    const auto& s = recording.samples;
    const auto whole = static_cast<std::size_t>(place);
    const auto at = [&](std::size_t i) {
        return i < s.size() ? s[i] : (recording.loop_begin < s.size() ? s[i - s.size() + recording.loop_begin] : 0.0F);
    };
    const float t = static_cast<float>(place - static_cast<double>(whole));
    const float a = whole > 0 ? s[whole - 1] : 0, b = at(whole), c = at(whole + 1), d = at(whole + 2);
    return b + 0.5F * t * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a)));
}

double Voice::vibrato() noexcept
{
    const double seconds = age_ / rate_ - vibrato_after_s;
    if (!sings_ || seconds <= 0) return 1;
    return 1 + vibrato_depth * std::min(1.0, seconds / vibrato_rise_s) * std::sin(2 * std::numbers::pi * vibrato_hertz * seconds);
}

// False: it has sounded to its end.
bool Voice::move_on() noexcept
{
    const double bend = vibrato();
    bool any = false;
    for (Stream& stream : streams_) {
        stream.place += stream.step * bend;
        const Recording& recording = *stream.recording;
        const auto size = static_cast<double>(recording.samples.size());
        if (stream.place < size) {
            any = true;
        } else if (!dies_) {
            stream.place -= size - static_cast<double>(recording.loop_begin);
            any = true;
        }
    }
    age_ += 1;
    level_ = std::min(1.0, level_ + rise_);
    return any;
}

float Voice::next(const Mix& mix) noexcept
{
    if (waiting_ >= 1) {
        waiting_ -= 1;
        return 0;
    }
    float sum = 0;
    for (std::size_t layer = 0; layer < streams_.size(); ++layer) {
        const Stream& stream = streams_[layer];
        const bool over = stream.place >= static_cast<double>(stream.recording->samples.size());
        if (mix[layer] > 0 && !over) sum += mix[layer] * read(*stream.recording, stream.place);
    }
    sum *= static_cast<float>(level_);
    if (ending_ && until_fade_ >= 1) {
        until_fade_ -= 1;
    } else if (ending_) {
        level_ -= fade_;
        rise_ = 0;
        if (level_ <= 0) sounds_ = false;
    }
    if (!move_on()) sounds_ = false;
    return sum;
}

} // namespace bowarm::stand_in
