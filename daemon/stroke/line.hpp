// The motion of the bow through one stroke as a list of segments in closed form.
//   Each segment goes from one motion to another along a Way; after the last the motion is held.
//   What has sounded is fixed: replan cuts the list at a moment and keeps the position reached there.
//   in       durations from the start of the line; speed signed, down positive, m/s; force N; beta
//   out      motion at a moment, and the distance travelled from the start, in metres, both exact
//   thread   any, pure.  Real-time safe: yes.
//   Errors   then() on a full list is refused.
#pragma once

#include "base/fixed_vector.hpp"
#include "base/time.hpp"
#include "bow/plan.hpp"

#include <cstdint>

namespace bowarm
{

// How a segment gets from one motion to the next.
enum class Way : std::uint8_t {
    smooth,   // one lobe of acceleration, none at both ends
    even,     // constant acceleration
    leaving,  // starts gently and ends with its greatest acceleration
    arriving, // starts with its greatest acceleration and ends gently
};

class Line
{
public:
    void begin(const Motion& at_rest) noexcept;
    bool then(Duration length, const Motion& to, Way way = Way::smooth) noexcept;
    void replan(Duration now) noexcept;

    Motion at(Duration now) const noexcept;
    Metres travelled(Duration now) const noexcept;
    Motion last() const noexcept; // held after the end
    Duration end() const noexcept { return end_; }

private:
    struct Segment {
        Duration start;
        Duration length;
        Motion from, to;
        Metres before; // travelled at its start
        Metres after;  // and at its end
        Way way{Way::smooth};
    };
    static constexpr std::size_t limit = 24; // a thrown bow of eight contacts

    const Segment* segment(Duration now) const noexcept;

    Motion rest_;
    Metres base_;    // travelled up to the first segment
    Duration first_; // start of the first segment
    Duration end_;
    FixedVector<Segment, limit> segments_;
};

} // namespace bowarm
