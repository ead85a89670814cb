// Where one system lies on its page, and how time becomes a place on it.
#pragma once

#include "take/chart_scene.hpp"
#include "take/svg.hpp"

#include <algorithm>

namespace bowarm
{

// An A4 page in points of 1/96 inch.
inline constexpr double page_width = 794, page_height = 1123;
inline constexpr double page_left = 66, page_right = 772; // of everything that has a time
inline constexpr double system_length = page_right - page_left;

struct Frame {
    Stretch stretch;
    double units_a_second;
    double marks;                   // baseline of the signs for down and up, and of warnings
    double bow_top, bow_bottom;     // frog, tip
    double staff_bottom_line;       // of the five, the lowest
    double staff_top, staff_bottom; // with all ledger lines
    double speed_top, speed_bottom; // 0 m/s at the bottom
    double force_top, force_bottom;
    double contact_top, contact_bottom; // fingerboard, bridge

    double x(Time at) const
    {
        const double seconds = to_seconds(at - stretch.begin).value;
        return std::clamp(page_left + seconds * units_a_second, page_left, page_right);
    }
    double right() const { return x(stretch.end); }
};

inline double place(double share, double top, double bottom) { return top + std::clamp(share, 0.0, 1.0) * (bottom - top); }

} // namespace bowarm
