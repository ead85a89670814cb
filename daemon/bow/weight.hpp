// How heavy a stroke could be: which strokes players bring back to the frog one after another.
//   in       how loud, how long it will last, whether silence comes before it, where it lies
//   out      the three grades that the choice of the bow weighs (choice.hpp)
//   source   common practice, no source; the numbers are our own, the shortest interval counted in an editor's part
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"

namespace bowarm
{

// From the lowest: where strokes are heavy.
inline constexpr std::uint8_t heavy_strings = 2;

struct Weighed {
    bool weighty{false};       // it could be struck at the frog
    bool heavy_at_frog{false}; // worth a retake where there is time
    bool low_tune{false};      // struck down again and again
};

// separate: on the string, with a silence before it.  in_tune: in a tune of changing lengths that stays on the low strings.
constexpr Weighed weigh(bool separate, Loudness loudness, Seconds expected, std::uint8_t string, bool in_tune) noexcept
{
    constexpr Loudness heavy_loudness{0.8}, tune_loudness{0.65};
    constexpr Seconds heavy_interval{0.3}, tune_interval{0.16};
    const bool weighty = separate && loudness >= tune_loudness && expected >= tune_interval;
    const bool heavy = separate && loudness >= heavy_loudness && string < heavy_strings && expected >= heavy_interval;
    return {weighty, heavy, weighty && in_tune};
}

} // namespace bowarm
