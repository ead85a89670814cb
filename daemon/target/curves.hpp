// The bow's motion as controller values, and what has been sent of them on each channel.
//   in       the state of the bow at a logical time that never runs backwards
//   out      values in the range of their controllers; on the grid only those that moved far enough, no oftener than told
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/time.hpp"
#include "bow/plan.hpp"
#include "target/bundle.hpp"
#include "target/target_spec.hpp"

#include <array>
#include <cstdint>

namespace bowarm
{

// The bow as the curves see it.
struct BowState {
    Time at;
    Loudness loudness; // wanted, 0..1
    Motion now;        // speed as a magnitude
    Motion planned;    // the steady motion that now stands for
    Motion neutral;    // what the table says for the loudness, whatever the hair
    Direction direction{Direction::down};
    HairFraction hair;
    double amount{1}; // how much of the arm's own curves is sent, 0..1
};

struct CurveValue {
    Controller controller;
    int value{0};
};
using CurveValues = FixedVector<CurveValue, 12>;

// Where the curve wants to be, before it is smoothed and rounded; pure.
double wanted_value(const CurveWay& way, const BowState& state) noexcept;

// Whether what is sent belongs to a note that begins out of nothing, or goes on from what sounds already.
enum class Begins : std::uint8_t { anew, connected };

class Curves
{
public:
    // Every curve's value where it differs from the one sent: at once for what begins anew; a connected note goes on from
    // where a smoothed curve is.
    CurveValues first(const TargetSpec& spec, Channel channel, const BowState& state, Begins begins) noexcept;
    // Those that have moved by more than their dead band, each no oftener than its highest rate.
    CurveValues moved(const TargetSpec& spec, Channel channel, const BowState& state) noexcept;
    // The values that a target is to have before anything has sounded, where its file names some.
    CurveValues initial(const TargetSpec& spec, Channel channel) noexcept;
    // The person's loudness controller is touched for the first time: the curves of loudness ease to it.
    void pick_up(Time at) noexcept { picked_up_ = at; }
    // Whether a curve has left the pitch bent on that channel.
    bool has_bent(const TargetSpec& spec, Channel channel) const noexcept;
    void forget() noexcept { sent_ = {}; }

private:
    struct Sent {
        int value{-1}; // -1: not known
        double exact{0};
        double before_pick_up{0};
        Time at;       // when exact was reckoned
        Time value_at; // when value was sent
    };
    double eased(const TargetSpec& spec, const CurveWay& way, Sent& sent, const BowState& state, double wanted) const noexcept;

    std::array<std::array<Sent, 12>, 16> sent_{}; // of every channel
    Time picked_up_{Time::never()};
};

} // namespace bowarm
