// Finds speed, force and contact point for a wanted loudness.
//   law      string amplitude goes with v / beta (J. Woodhouse, Euphonics 9.4.2 eq. 2); the instrument's table of
//            dynamics says how players share it between v and beta; the rest follows from the same equation
//   in       Demand: what is wanted, what hair is left in this direction, how long the stroke may still have to last
//   out      a motion inside the arm's bounds, the forces playable there, and whether the loudness was reached
//   thread   any, pure after construction.  Real-time safe: yes.  Errors: none.
#pragma once

#include "bow/force_limits.hpp"
#include "bow/instrument.hpp"

namespace bowarm
{

struct Motion {
    MetresPerSecond speed; // magnitude, or signed where a header says so
    Newtons force;
    Beta beta;
};

struct Demand {
    Loudness loudness;
    double contact_wish{0.5}; // 0 at the fingerboard, 0.5 ordinary, 1 at the bridge
    Metres hair_left{};       // in the direction of the stroke
    Seconds remaining{};      // expected, above 0
    HairFraction place{};
    double speed_share{1}; // more hair or less than usual for the loudness; the contact point makes up for it
    std::uint8_t string{0};
};

struct MotionPlan {
    Motion motion;
    ForceRange limits; // playable at that speed and contact point
    Loudness loudness;
    bool loudness_reached{true};
    bool force_reached{true}; // false: the arm cannot give the least force here
};

class Planner
{
public:
    explicit Planner(const Instrument& instrument);

    MotionPlan plan(const Demand& demand) const noexcept;
    // The loudest up to the demand that the arm can give here.
    MotionPlan plan_softened(Demand demand) const noexcept;
    // As the table says for this loudness, whatever the hair.
    Motion ordinary(Loudness loudness, std::uint8_t string) const noexcept;
    // The slowest speed that still gives the loudness.
    MetresPerSecond slowest(Loudness loudness) const noexcept;
    Newtons arm_limit(HairFraction place) const noexcept;
    ForceRange limits(MetresPerSecond speed, Beta beta, std::uint8_t string) const noexcept;

private:
    struct Row {
        double loudness;
        double log_speed;
        double log_amplitude; // of v / beta
        double force_place;   // where the force stands between its limits, 0 low .. 1 high, on a logarithmic scale
    };
    struct Wanted {
        double log_speed;
        double log_amplitude;
        double force_place;
    };
    Wanted wanted(Loudness loudness) const noexcept;
    StringContact contact(std::uint8_t string) const noexcept;

    Instrument instrument_;
    FixedVector<Row, 8> rows_;
};

} // namespace bowarm
