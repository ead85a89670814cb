#include "phrase/beat_keeper.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

constexpr double sure_of_clock = 0.95;
constexpr double meter_told = 0.95, meter_assumed = 0.6; // that bars lie where the start of the song and the meter put them
// Most music begins with its bar (28 of the 32 parts that the finder was counted on), but not all of it, and nobody said so.
constexpr double first_note_is_a_beat = 0.6, first_note_is_the_bar = 0.67;

double surety(const BeatPlace& p) { return p.confidence + p.beat_confidence; }

} // namespace

BeatKeeper::BeatKeeper(double tempo, BarMeter meter)
    : configured_quarter_(tempo > 0 ? 60.0 / tempo : 0.0), configured_(meter), file_(configured_quarter_)
{
    from_first_note_.tell_period(Time{}, configured_quarter_ * quarters_of_beat(configured_));
    taps_.tell_period(Time{}, configured_quarter_);
    finder_.tell_meter(configured_);
    finder_.tell_quarter(configured_quarter_);
}

void BeatKeeper::tempo(Time at, Seconds quarter) noexcept
{
    file_.tempo(at, quarter);
    from_first_note_.tell_period(at, quarter * quarters_of_beat(configured_));
    taps_.tell_period(at, quarter);
    finder_.tell_quarter(quarter);
}

void BeatKeeper::meter(Time at, BarMeter meter) noexcept
{
    file_.meter(at, meter);
    finder_.tell_meter(meter);
}

void BeatKeeper::clock(Time at, Source source) noexcept
{
    clock_.clock(at, source);
    tell_finder(at);
}

// A clock tells a tempo even where it does not tell the place.
void BeatKeeper::tell_finder(Time at) noexcept
{
    const ClockTrack* clock = clock_.followed(at);
    if (clock == nullptr || !(clock->quarter() > Seconds{0})) return;
    finder_.tell_quarter(clock->quarter());
    taps_.tell_period(at, clock->quarter());
    from_first_note_.tell_period(at, clock->quarter() * quarters_of_beat(configured_));
}

void BeatKeeper::tap_beat(Time at) noexcept
{
    clock_.begin_here(at);
    taps_.tap(at);
    if (taps_.known()) finder_.tell_quarter(taps_.period());
}

void BeatKeeper::tap_bar(Time at) noexcept
{
    clock_.begin_here(at);
    taps_.tap_bar(at);
    if (taps_.known()) finder_.tell_quarter(taps_.period());
    const ClockTrack* clock = clock_.followed(at);
    if (clock == nullptr || !clock->placed()) return;
    // The hand says which of the clock's beats it is; the clock says when.
    const double beat = quarters_of_beat(meter_or_common());
    tapped_bar_ = static_cast<double>(nearest(clock->quarters(at) / beat)) * beat;
    bar_tapped_ = true;
}

void BeatKeeper::onset(const HeardOnset& onset) noexcept
{
    if (!any_note_ && configured_.beats > 0) from_first_note_.begin(onset.at, first_note_is_the_bar, first_note_is_a_beat);
    any_note_ = true;
    taps_.onset(onset.at);
    from_first_note_.onset(onset.at);
    if (!file_.known()) finder_.onset(onset);
}

BeatPlace BeatKeeper::on_clock(const ClockTrack& clock, Time at) const noexcept
{
    constexpr Seconds until_measured{0.5};
    const BarMeter meter = meter_or_common();
    const double beat = quarters_of_beat(meter);
    const double bar = beat * meter.beats;
    BeatPlace p;
    p.source = BeatSource::clock;
    p.beat_length = (clock.quarter() > Seconds{0} ? clock.quarter() : until_measured) * beat;
    p.beat_confidence = sure_of_clock * clock.steadiness(at);
    p.confidence = p.beat_confidence * (bar_tapped_ || configured_.beats > 0 ? meter_told : meter_assumed);
    double quarters = clock.quarters(at);
    if (bar_tapped_) {
        const auto bars_before = static_cast<std::int32_t>(tapped_bar_ / bar);
        const double upbeat = tapped_bar_ - bars_before * bar;
        quarters += upbeat > 0 ? bar - upbeat : 0; // the song begins with a short bar
    }
    if (quarters < 0) quarters = 0; // the smoothed clock may be a little later than the one just heard
    put_place(p, quarters / beat, 1, meter);
    return p;
}

BeatPlace BeatKeeper::place(Time at) const noexcept
{
    if (file_.known()) return file_.place(at);
    const ClockTrack* clock = clock_.followed(at);
    if (clock != nullptr && clock->placed()) return on_clock(*clock, at);
    BeatPlace surest = taps_.place(at, conducted(configured_), BeatSource::tap);
    for (const BeatPlace& p : {from_first_note_.place(at, configured_, BeatSource::configuration), finder_.place(at)})
        if (surety(p) > surety(surest)) surest = p;
    return surest;
}

Seconds BeatKeeper::quarter(Time at) const noexcept
{
    if (file_.known()) return file_.quarter();
    const ClockTrack* clock = clock_.followed(at);
    if (clock != nullptr && clock->quarter() > Seconds{0}) return clock->quarter();
    if (taps_.known()) return taps_.period();
    return file_.quarter();
}

} // namespace bowarm
