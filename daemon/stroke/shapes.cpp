#include "stroke/shapes.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

// The turn lasts 60 to 120 ms in all, with one lobe of acceleration: shape J. Verrel et al., Frontiers in Human
// Neuroscience 7:157 (2013); times are common practice, no source, as all the others here.
struct Turn {
    double soft_ms, loud_ms;
    double force; // at the turning point, over the planned
};

constexpr Turn turn_of(Technique technique)
{
    switch (technique) {
    case Technique::legato:
    case Technique::portato:
        return {120, 80, 0.80}; // as unheard as possible: slow, and light in the middle
    case Technique::marcato:
    case Technique::martele:
        return {60, 60, 1.15}; // a new accent
    case Technique::tremolo:
        return {60, 60, 1.0};
    default:
        return {100, 60, 0.90};
    }
}

constexpr Duration stop_short = milliseconds(30);
constexpr Duration stop_long = milliseconds(50);
constexpr double room_used = 0.9; // of the hair that is left, where the bow has to stop short
// The bow nearly stops between the notes of a portato.  Common practice, no source.
constexpr Duration pulse_fall = milliseconds(25);
constexpr Duration pulse_rise = milliseconds(60);
constexpr double pulse_speed = 0.25;
constexpr double pulse_force = 0.8;
constexpr Duration follow_length = milliseconds(25);
// In good spiccato the first slip falls near the greatest force, and the bow lands nearly straight down
// (K. Guettler & A. Askenfelt, TMH-QPSR 38, 1997): force and speed rise together and quickly.
constexpr double rise_share = 0.35;
constexpr Seconds thrown_touch{0.035};

Motion with(const Motion& m, double speed, double force) { return {m.speed * speed, m.force * force, m.beta}; }

Duration share_of(Duration d, double share) { return {static_cast<std::int64_t>(static_cast<double>(d.ns) * share)}; }

} // namespace

void start(Line& line, const Attack& attack, const Motion& planned) noexcept
{
    line.begin({MetresPerSecond{0}, attack.force, planned.beta});
    const double direction = planned.speed < MetresPerSecond{0} ? -1 : 1;
    line.then(attack.rise, {attack.peak * direction, attack.force, planned.beta}, Way::even);
    line.then(attack.settle, planned);
}

void bounce(Line& line, Duration contact, const Motion& planned) noexcept
{
    line.begin(with(planned, 0, 0));
    const Duration rise = share_of(contact, rise_share);
    line.then(rise, planned);
    line.then(contact - rise, with(planned, 0, 0));
}

void throw_bow(Line& line, const BouncingBow& bow, Seconds first_interval, int contacts, const Motion& planned) noexcept
{
    line.begin(with(planned, 0, 0));
    const Duration touch = to_duration(thrown_touch);
    for (int k = 0; k < contacts; ++k) {
        const Contact c = ricochet_contact(bow, first_interval, k);
        const Duration next = to_duration(ricochet_contact(bow, first_interval, k + 1).at - c.at);
        const Duration down = share_of(touch < next ? touch : next, rise_share);
        const Duration up = share_of(touch < next ? touch : next, 1 - rise_share);
        line.then(down, with(planned, 1, c.force));
        line.then(up, with(planned, 1, 0));
        if (k + 1 < contacts) line.then(next - down - up, with(planned, 1, 0));
    }
    line.then(stop_long, with(planned, 0, 0));
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
    const Turn t = turn_of(technique);
    return curve_grid * (2 * nearest(between(t.soft_ms, t.loud_ms, loudness.value) / 10));
}

Duration turn_within(Metres room, MetresPerSecond speed, Duration length) noexcept
{
    const Duration step = curve_grid * 2;
    while (length > step && turn_distance(speed, length) > room * room_used) length = length - step;
    return length;
}

void turn(Line& line, Duration now, Duration length, Technique technique, const Motion& after) noexcept
{
    line.replan(now);
    const Motion before = line.last();
    const Duration half{length.ns / 2};
    line.then(half, {MetresPerSecond{0}, before.force * turn_of(technique).force, before.beta}, Way::leaving);
    line.then(half, after, Way::arriving);
}

void pulse(Line& line, Duration now, const Motion& planned) noexcept
{
    line.replan(now);
    line.then(pulse_fall, with(planned, pulse_speed, pulse_force));
    line.then(pulse_rise, planned);
}

void follow(Line& line, Duration now, const Motion& wanted) noexcept
{
    line.replan(now);
    line.then(follow_length, wanted);
}

} // namespace bowarm
