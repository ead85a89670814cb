// One system: its height, and how it is drawn at a place on the page.
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/chart_frame.hpp"

namespace bowarm
{

// What falls into a stretch; notes and strokes that sound into it first.
struct System {
    Stretch stretch;
    std::vector<ChartNote> notes;
    std::vector<ChartStroke> strokes;
    std::vector<const Remark*> remarks;
    std::size_t first_number{1}; // of its first remark on the page
    std::vector<std::string> foot;
    double height_of_lanes{0};
};

std::vector<System> systems_of(const ChartScene& scene, std::span<const Stretch> stretches);
// The warnings' words, numbered on from the page's systems before.
void number_remarks(System& system, std::size_t first_number);
double height_of(const System& system);
void draw_system(Svg& svg, const ChartScene& scene, const System& system, double top);

} // namespace bowarm
