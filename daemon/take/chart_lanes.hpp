// The lanes of a system that follow the bow: the hair, speed, force, contact point.
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/chart_frame.hpp"

namespace bowarm
{

// What lies under everything: the lanes with their names.
void draw_lanes(Svg& svg, const ChartScene& scene, const Frame& frame);

void draw_bow(Svg& svg, const ChartScene& scene, const Frame& frame, std::span<const ChartStroke> strokes);
void draw_speed(Svg& svg, const ChartScene& scene, const Frame& frame);
void draw_force(Svg& svg, const ChartScene& scene, const Frame& frame);
void draw_contact(Svg& svg, const ChartScene& scene, const Frame& frame);

} // namespace bowarm
