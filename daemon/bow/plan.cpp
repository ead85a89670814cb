#include "bow/plan.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

// How far inside its limits the force is kept; our own choice, nothing published.
constexpr double above_low = 1.2;
constexpr double below_high = 0.8;
// Octaves by which a full wish moves the contact point, and the bounds it may then reach: sul tasto about
// beta 1/3.5, sul ponticello beta below 1/25 (orchestration handbooks name the places; numbers from memory).
constexpr double fingerboard_octaves = 1.1;
constexpr double bridge_octaves = 1.6;
// The bow gets lighter on its way to the fingerboard: a third of the force at full wish.  Force is by far the strongest control of
// brightness (E. Schoonderwaldt, Acta Acustica 95 (2009) 901-914); the number is our own.
constexpr double lighter = 1.4; // octaves of force for one of contact point
constexpr Beta fingerboard_bound{1 / 3.5};
constexpr Beta bridge_bound{1 / 60.0};

double place_between(Newtons force, ForceRange limits)
{
    const double span = log_of_two(limits.high / limits.low);
    return span > 0 ? log_of_two(force / limits.low) / span : 0.5;
}

double contact_octaves(double wish) { return wish < 0.5 ? (0.5 - wish) * 2 * fingerboard_octaves : (0.5 - wish) * 2 * bridge_octaves; }

} // namespace

Planner::Planner(const Instrument& instrument) : instrument_(instrument)
{
    const auto middle = static_cast<std::uint8_t>(instrument_.strings.size() / 2);
    for (const DynamicRow& row : instrument_.dynamics) {
        rows_.push_back({row.loudness.value, log_of_two(row.speed.value), log_of_two(row.speed.value / row.beta.value),
                         place_between(row.force, limits(row.speed, row.beta, middle))});
    }
}

Planner::Wanted Planner::wanted(Loudness loudness) const noexcept
{
    // The first and last stretch of the table carry on beyond its ends.
    std::size_t i = 0;
    while (i + 2 < rows_.size() && loudness.value > rows_[i + 1].loudness) ++i;
    const Row& a = rows_[i];
    const Row& b = rows_[i + 1 < rows_.size() ? i + 1 : i];
    const double width = b.loudness - a.loudness;
    const double u = width > 0 ? (loudness.value - a.loudness) / width : 0;
    return {between(a.log_speed, b.log_speed, u), between(a.log_amplitude, b.log_amplitude, u), between(a.force_place, b.force_place, u)};
}

StringContact Planner::contact(std::uint8_t string) const noexcept
{
    return {instrument_.strings[string].impedance, instrument_.bridge_resistance, instrument_.friction_difference};
}

ForceRange Planner::limits(MetresPerSecond speed, Beta beta, std::uint8_t string) const noexcept
{
    return practical_force(speed, beta, contact(string));
}

Newtons Planner::arm_limit(HairFraction place) const noexcept
{
    return Newtons{between(instrument_.force_high_at_frog.value, instrument_.force_high_at_tip.value, place.value)};
}

Motion Planner::ordinary(Loudness loudness, std::uint8_t string) const noexcept
{
    return plan({.loudness = loudness, .hair_left = Metres{1e3}, .remaining = Seconds{1}, .string = string}).motion;
}

MetresPerSecond Planner::slowest(Loudness loudness) const noexcept
{
    const MetresPerSecond near_bridge{power_of_two(wanted(loudness).log_amplitude) * instrument_.beta_low.value};
    return clamp(near_bridge, instrument_.speed_low, instrument_.speed_high);
}

MotionPlan Planner::plan(const Demand& demand) const noexcept
{
    const Wanted w = wanted(demand.loudness);
    const double amplitude = power_of_two(w.log_amplitude);
    const double octaves = contact_octaves(demand.contact_wish);
    const Beta beta_low = octaves < 0 ? bridge_bound : instrument_.beta_low;
    const Beta beta_high = octaves > 0 ? fingerboard_bound : instrument_.beta_high;

    MetresPerSecond speed{power_of_two(w.log_speed + octaves) * demand.speed_share};
    const MetresPerSecond hair_speed = demand.hair_left / demand.remaining;
    if (hair_speed < speed) speed = hair_speed;
    const Beta beta = clamp(Beta{speed.value / amplitude}, beta_low, beta_high);
    speed = clamp(MetresPerSecond{amplitude * beta.value}, instrument_.speed_low, instrument_.speed_high);

    MotionPlan plan;
    plan.loudness = demand.loudness;
    plan.limits = limits(speed, beta, demand.string);
    const double span = log_of_two(plan.limits.high / plan.limits.low);
    const double lightened = octaves > 0 ? lighter * octaves : 0;
    const Newtons wish{plan.limits.low.value * power_of_two(w.force_place * span - lightened)};
    const Newtons inside = clamp(wish, plan.limits.low * above_low, plan.limits.high * below_high);
    const Newtons arm = arm_limit(demand.place);
    const Newtons force = clamp(inside, instrument_.force_low, arm);
    plan.motion = {speed, force, beta};
    plan.force_reached = force >= plan.limits.low;
    const double reached = speed.value / beta.value / amplitude;
    plan.loudness_reached = reached > 0.98 && reached < 1.02;
    return plan;
}

MotionPlan Planner::plan_softened(Demand demand) const noexcept
{
    const MotionPlan wanted = plan(demand);
    if (wanted.loudness_reached && wanted.force_reached) return wanted;
    constexpr int steps = 6; // to within a sixty-fourth
    Loudness low{0};
    Loudness high = demand.loudness;
    for (int i = 0; i < steps; ++i) {
        demand.loudness = (low + high) / 2;
        const MotionPlan tried = plan(demand);
        (tried.loudness_reached && tried.force_reached ? low : high) = demand.loudness;
    }
    demand.loudness = low;
    return plan(demand);
}

} // namespace bowarm
