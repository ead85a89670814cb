// Counts the slips of a bowed string and judges its motion.
//   in       one step after another: grip, speed of sliding, the hair's travel in one period
//   out      slips (when they began, seconds), and what they make of a stretch of time
//   thread   any.  Errors: none.
#pragma once

#include "sound/bowed_string.hpp"

#include <span>
#include <vector>

namespace bowarm::test
{

// A slip counts when it makes up this share of the hair's travel in one period: flutter on the rosin, and the last
// traces of a second slip, are not heard as slips.  Our own choice; a Helmholtz slip makes up all of it.
inline constexpr double slip_share = 0.1;
// A period is one slip's when the next slip begins so near to one period later.  A tenth is under two semitones, the most
// by which a heavy bow flattens a note (X. Boutillon 1991; from memory).
inline constexpr double period_tolerance = 0.1;

class SlipCounter
{
public:
    void step(Seconds now, Grip grip, MetresPerSecond sliding, Metres hair_in_period, Seconds dt);
    std::span<const Seconds> slips() const { return slips_; }

private:
    Grip grip_{Grip::stuck};
    Seconds began_;
    double slid_{0}; // share of the hair's travel
    std::vector<Seconds> slips_;
};

enum class StringMotion { one_slip, several_slips, irregular, no_slips };
const char* word(StringMotion m);

struct Judgement {
    double one_slip{0};  // share of the time in periods with exactly one slip
    double prolonged{0}; // in longer intervals
    double slips_a_period{0};
    double repeating{0}; // share of the slips that come again one period later
    StringMotion motion{StringMotion::no_slips};
};
Judgement judge(std::span<const Seconds> slips, Seconds from, Seconds to, Seconds period);

// When regular motion begins: the first slip of so many periods on end with one slip each; below 0 when never.
inline constexpr int regular_periods = 8;
Seconds regular_from(std::span<const Seconds> slips, Seconds from, Seconds to, Seconds period);

} // namespace bowarm::test
