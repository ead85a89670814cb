#include "phrase/meter.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

constexpr double configured_confidence = 0.4; // the phase is a guess until something tells it
constexpr double heard_confidence = 1.0;

double weight_in_bar(std::int64_t beat, std::uint8_t beats, std::uint8_t unit)
{
    if (beat == 0) return 1.0;
    // Compound meters are felt in groups of three beats, even ones in halves.
    const bool compound = unit >= 3 && beats % 3 == 0 && beats > 3;
    if (compound) return beat % 3 == 0 ? 0.5 : 0.2;
    if (beats % 2 == 0 && beat == beats / 2) return 0.5;
    return 0.3;
}

} // namespace

Meter::Meter(double tempo, std::uint8_t beats, std::uint8_t unit)
    : quarter_(tempo > 0 ? 60.0 / tempo : 0.0), beats_(beats), unit_(unit), confidence_(configured_confidence)
{
}

Seconds Meter::beat_length() const
{
    double factor = 4.0;
    for (int i = 0; i < unit_; ++i) factor *= 0.5;
    return quarter_ * factor;
}

double Meter::beats_since_anchor(Time at) const { return anchor_beat_ + to_seconds(at - anchor_) / beat_length(); }

void Meter::tempo(Time at, Seconds quarter) noexcept
{
    if (known() && at > anchor_) {
        anchor_beat_ = beats_since_anchor(at);
        anchor_ = at;
    } else if (!anchored_) {
        anchor_ = at;
    }
    quarter_ = quarter;
}

void Meter::meter(Time at, std::uint8_t beats, std::uint8_t unit) noexcept
{
    std::int32_t bar = 1;
    if (known() && confidence_ == heard_confidence) {
        const double bars = beats_since_anchor(at) / beats_;
        bar = anchor_bar_ + static_cast<std::int32_t>(nearest(bars));
    }
    anchored_ = true;
    confidence_ = heard_confidence;
    anchor_ = at;
    anchor_beat_ = 0;
    anchor_bar_ = bar;
    beats_ = beats;
    unit_ = unit;
}

void Meter::first_note(Time at) noexcept
{
    if (anchored_ || !(quarter_.value > 0) || beats_ == 0) return;
    anchored_ = true;
    anchor_ = at;
    anchor_beat_ = 0;
    anchor_bar_ = 1;
}

BeatPlace Meter::place(Time at) const noexcept
{
    BeatPlace p;
    if (!known()) return p;
    p.confidence = confidence_;
    p.beat_length = beat_length();
    const double position = beats_since_anchor(at);
    if (position < 0) return p;
    const auto bars = static_cast<std::int64_t>(position / beats_);
    p.bar = anchor_bar_ + static_cast<std::int32_t>(bars);
    p.beat = 1.0 + position - static_cast<double>(bars * beats_);
    // A hand is early or late by up to a tenth of a second; within that the nearest beat was meant.
    const std::int64_t whole = nearest(position);
    const double off = position - static_cast<double>(whole);
    const double tolerance = 0.1 / p.beat_length.value < 0.2 ? 0.1 / p.beat_length.value : 0.2;
    if ((off < 0 ? -off : off) <= tolerance) {
        const std::int64_t in_bar = whole % beats_;
        p.weight = weight_in_bar(in_bar, beats_, unit_);
        p.nearest = 1.0 + static_cast<double>(in_bar);
        p.bar = anchor_bar_ + static_cast<std::int32_t>(whole / beats_);
    } else {
        p.nearest = p.beat;
    }
    p.to_bar = p.beat_length * (1.0 + beats_ - p.nearest);
    return p;
}

} // namespace bowarm
