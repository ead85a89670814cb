#include "phrase/tapping.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

// Taps nearer or farther than these say nothing about the tempo: 240 and 24 beats a minute.
constexpr Seconds nearest_taps{0.25}, farthest_taps{2.5};
constexpr double same_tempo = 0.3; // share by which an interval may differ from those before it
constexpr std::uint8_t beats_at_most = 12;

constexpr double sure_of_taps = 0.9;
constexpr double assumed_meter = 0.6;                    // share of the confidence that is left when nobody told the meter
constexpr double supported_for = 16, lost_after = 64;    // beats without a tap or a note that fits
constexpr double fit_memory = 0.1;                       // share of the newest note
constexpr double near_a_beat = 0.12, near_a_part = 0.06; // beats
constexpr double follow_phase = 0.25, follow_period = 0.03;

double magnitude(double x) { return x < 0 ? -x : x; }

// Halves, thirds and quarters of a beat: notes begin there, too.
bool is_near_a_part(double part)
{
    for (const double p : {0.5, 1.0 / 3, 0.25})
        if (magnitude(magnitude(part) - p) <= near_a_part) return true;
    return false;
}

} // namespace

void Tapping::remember(Seconds interval) noexcept
{
    const auto mean = [this] {
        double sum = 0;
        for (std::size_t i = 0; i < count_; ++i) sum += intervals_[i].value;
        return Seconds{sum / static_cast<double>(count_)};
    };
    if (count_ > 0 && magnitude(interval / mean() - 1) > same_tempo) count_ = 0;
    if (count_ < intervals_at_most) ++count_;
    for (std::size_t i = count_ - 1; i > 0; --i) intervals_[i] = intervals_[i - 1];
    intervals_[0] = interval;
    period_ = mean();
}

void Tapping::tap(Time at) noexcept
{
    const Seconds interval = to_seconds(at - last_tap_);
    if (tapped_ && interval < nearest_taps) return; // a bounce of the switch
    const bool in_series = tapped_ && interval <= farthest_taps;
    index_ = in_series ? last_index_ + 1 : known() ? nearest(position(at)) : 0;
    if (in_series)
        remember(interval);
    else
        count_ = 0;
    since_bar_ = in_series && since_bar_ > 0 && since_bar_ < 255 ? static_cast<std::uint8_t>(since_bar_ + 1) : std::uint8_t{0};
    begun_ = tapped_ = true;
    beat_ = last_tap_ = supported_ = at;
    last_index_ = index_;
    beat_confidence_ = sure_of_taps;
    fit_ = 1;
}

void Tapping::tap_bar(Time at) noexcept
{
    const bool known_before = bar_confidence_ > 0;
    tap(at);
    if (since_bar_ > 2 && since_bar_ <= beats_at_most + 1) bar_beats_ = static_cast<std::uint8_t>(since_bar_ - 1);
    if (known_before && index_ > bar_) {
        const double beats = bar_beats_ > 0 ? bar_beats_ : 4;
        const std::int64_t bars = nearest(static_cast<double>(index_ - bar_) / beats);
        bar_number_ += static_cast<std::int32_t>(bars > 0 ? bars : 1);
    }
    bar_ = index_;
    bar_confidence_ = 1;
    since_bar_ = 1;
}

void Tapping::begin(Time at, double bar_confidence, double beat_confidence) noexcept
{
    begun_ = true;
    beat_ = supported_ = at;
    bar_confidence_ = bar_confidence;
    beat_confidence_ = beat_confidence;
}

void Tapping::tell_period(Time at, Seconds period) noexcept
{
    if (count_ > 0) return;
    if (known() && at > beat_) {
        const double beats = position(at);
        index_ = nearest(beats);
        beat_ = at - to_duration(period * (beats - static_cast<double>(index_)));
    }
    period_ = period;
}

double Tapping::position(Time at) const noexcept { return static_cast<double>(index_) + to_seconds(at - beat_) / period_; }

void Tapping::onset(Time at) noexcept
{
    if (!known() || at < beat_) return;
    const double beats = position(at);
    const std::int64_t whole = nearest(beats);
    const double off = beats - static_cast<double>(whole);
    const bool on_beat = magnitude(off) <= near_a_beat;
    const bool fits = on_beat || is_near_a_part(off);
    fit_ += fit_memory * ((fits ? 1 : 0) - fit_);
    if (fits) supported_ = at;
    if (!on_beat) return;
    const Seconds late = period_ * off;
    if (whole != index_) period_ = period_ + late * follow_period;
    beat_ = at - to_duration(late * (1 - follow_phase));
    index_ = whole;
}

// 1 while taps and notes bear the beat out, towards 0 when the notes go elsewhere or fall silent.
double Tapping::support(Time at) const noexcept
{
    const double silent = to_seconds(at - supported_) / period_;
    const double fresh = silent <= supported_for ? 1 : silent >= lost_after ? 0 : (lost_after - silent) / (lost_after - supported_for);
    return fit_ * fresh;
}

BeatPlace Tapping::place(Time at, BarMeter meter, BeatSource source) const noexcept
{
    BeatPlace p;
    if (!known()) return p;
    const bool told = meter.beats > 0 || bar_beats_ > 0;
    if (meter.beats == 0) meter = {bar_beats_ > 0 ? bar_beats_ : std::uint8_t{4}, 2};
    p.source = source;
    p.beat_length = period_;
    p.beat_confidence = beat_confidence_ * support(at);
    const double in_bar = bar_confidence_ > 0 ? bar_confidence_ * (told ? 1 : assumed_meter) : 1.0 / meter.beats;
    p.confidence = p.beat_confidence * in_bar;
    const double since_bar = position(at) - static_cast<double>(bar_);
    const auto bars_before = since_bar < 0 ? static_cast<std::int32_t>(-since_bar / meter.beats) + 1 : 0;
    put_place(p, since_bar + bars_before * meter.beats, bar_number_ - bars_before, meter);
    return p;
}

} // namespace bowarm
