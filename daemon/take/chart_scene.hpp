// What a chart has to draw of one desk, in order of time, and how it is cut into systems.
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/beats.hpp"
#include "take/chart.hpp"
#include "take/remarks.hpp"

#include <span>
#include <string>
#include <vector>

namespace bowarm
{

struct ChartNote {
    Time at, end;
    const NoteStory* story;
};

struct ChartStroke {
    Time at, end;
    const Fact* began;
    const Fact* ended; // null: cut off
};

struct ChartScene {
    std::vector<ChartNote> notes;
    std::vector<ChartStroke> strokes;
    std::vector<Remark> remarks;
    std::span<const Beat> beats;
    std::span<const MotionSample> motion; // times of the player
    Duration later{0};                    // from the person's time to the player's
    double units_a_second{60};
    double fastest{1}; // m/s, the top of the speed's scale
    std::uint8_t lowest_string{55};
};

ChartScene scene_of(const ChartWish& wish, const Story& story, std::span<const Remark> remarks, std::span<const Beat> beats,
                    std::size_t desk);

// A stretch of time on one line of the page.
struct Stretch {
    Time begin, end;
};
// Whole bars where they are known; silence longer than a system is left out.
//   length: of a system, in units of the page
std::vector<Stretch> stretches_of(const ChartScene& scene, double length, Time from, Time until);

// From the first sample at or after `begin` with the one before it, through the first at or after `end`.
std::span<const MotionSample> motion_in(const ChartScene& scene, Stretch stretch);

} // namespace bowarm
