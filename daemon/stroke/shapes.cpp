#include "stroke/shapes.hpp"

#include "base/arithmetic.hpp"

namespace bowarm {
namespace {

// Lengths are common practice, no source, but for the turn: 60 to 120 ms in all, one lobe of acceleration
// (J. Verrel et al., Frontiers in Human Neuroscience 7:157 (2013) for the shape).
struct Start {
    Duration rise;      // from rest to the peak
    double speed_peak;  // over the planned speed
    double force_bite;  // over the planned force, at rest
    Duration settle;    // from the peak to the planned motion
};

constexpr Start start_of(Technique technique)
{
    switch (technique) {
    case Technique::legato:
    case Technique::portato: return {milliseconds(50), 1.0, 1.0, milliseconds(0)};
    case Technique::staccato:
    case Technique::hooked: return {milliseconds(20), 1.1, 1.5, milliseconds(50)};
    case Technique::marcato:
    case Technique::martele: return {milliseconds(20), 1.35, 1.8, milliseconds(80)};
    case Technique::tremolo: return {milliseconds(20), 1.0, 1.0, milliseconds(0)};
    case Technique::spiccato:
    case Technique::sautille:
    case Technique::ricochet:
    case Technique::col_legno_battuto: return {milliseconds(30), 1.0, 0.0, milliseconds(0)};
    default: return {milliseconds(35), 1.0, 1.1, milliseconds(30)};
    }
}

constexpr Duration contact_fall = milliseconds(60); // an off-string stroke leaves the string over this
constexpr Duration stop_short = milliseconds(30);
constexpr Duration stop_long = milliseconds(50);
constexpr double room_used = 0.9; // of the hair that is left, where the bow has to stop short
constexpr Duration follow_length = milliseconds(25);
constexpr double turn_force_dip = 0.85;

Motion with(const Motion& m, double speed, double force) { return {m.speed * speed, m.force * force, m.beta}; }

} // namespace

void start(Line& line, Technique technique, double accent, const Motion& planned) noexcept
{
    const Start s = start_of(technique);
    const double push = accent < 1.0 ? 1.0 : (accent > 1.4 ? 1.4 : accent);
    line.begin({MetresPerSecond{0}, planned.force * (s.force_bite * push), planned.beta});
    line.then(s.rise, with(planned, s.speed_peak, is_off_string(technique) ? 1.0 : (1.0 + s.force_bite * push) / 2));
    if (is_off_string(technique)) line.then(contact_fall, with(planned, 0, 0));
    else line.then(s.settle, planned);
}

void stop(Line& line, Duration now, Technique technique, Metres room) noexcept
{
    const bool is_short = technique == Technique::staccato || technique == Technique::martele || technique == Technique::marcato;
    line.replan(now);
    const Motion m = line.last();
    const MetresPerSecond speed = m.speed < MetresPerSecond{0} ? -m.speed : m.speed;
    Duration length = is_short ? stop_short : stop_long;
    // Slowing evenly takes half of the speed times the length.
    if (speed * to_seconds(length) / 2 > room * room_used) length = to_duration(room * (2 * room_used) / speed);
    line.then(length, {MetresPerSecond{0}, m.force * 0.5, m.beta});
}

Duration turn_length(Technique technique, Loudness loudness) noexcept
{
    const double longest = technique == Technique::legato || technique == Technique::portato ? 120 : 100;
    const auto tens = nearest(between(longest, 60, loudness.value) / 10);
    return milliseconds(10 * (tens < 4 ? 4 : tens));
}

Duration turn_within(Metres room, MetresPerSecond speed, Duration length) noexcept
{
    const Duration step = curve_grid * 2;
    while (length > step && turn_distance(speed, length) > room * room_used) length = length - step;
    return length;
}

void turn(Line& line, Duration now, Duration length, const Motion& after) noexcept
{
    line.replan(now);
    const Motion before = line.last();
    const Duration half{length.ns / 2};
    line.then(half, {MetresPerSecond{0}, before.force * turn_force_dip, before.beta}, Way::leaving);
    line.then(half, after, Way::arriving);
}

void follow(Line& line, Duration now, const Motion& wanted) noexcept
{
    line.replan(now);
    line.then(follow_length, wanted);
}

} // namespace bowarm
