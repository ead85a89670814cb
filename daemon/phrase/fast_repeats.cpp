#include "phrase/fast_repeats.hpp"

namespace bowarm
{
namespace
{

constexpr int enough = 4; // intervals: a group of four is counted, the fifth stroke is not
constexpr Seconds quick{1 / 8.5};
constexpr Seconds quick_at_most{1 / 6.5}; // the mean of two once it is under way
constexpr Seconds rest{0.2};              // a single one
constexpr int melody = 3;                 // other pitches in a row: each stroke has a note of its own

} // namespace

void FastRepeats::onset(bool same_pitch, Seconds interval) noexcept
{
    const Seconds last = last_;
    last_ = interval;
    same_ = same_pitch && interval <= quick_at_most * 1.3 ? same_ + 1 : 0;
    since_ = same_ > 0 ? since_ + interval : Seconds{0};
    different_ = same_pitch ? 0 : different_ + 1;
    if (!under_way_) {
        under_way_ = same_ >= enough && since_ <= quick * same_;
        return;
    }
    if (different_ >= melody || interval > rest || (interval + last) / 2 > quick_at_most) stop();
}

} // namespace bowarm
