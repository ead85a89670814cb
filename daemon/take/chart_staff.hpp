// The notes of a system on a small staff, and the words over it.
//   The clef is its letter on its line (treble G, alto C, bass F); a bass instrument is written an octave higher, as in parts.
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/chart_frame.hpp"

namespace bowarm
{

struct StaffRoom {
    double above, below; // the five lines, for ledger lines and slurs
};
inline constexpr double staff_space = 5;

StaffRoom staff_room(const ChartScene& scene, std::span<const ChartNote> notes);
void draw_staff(Svg& svg, const ChartScene& scene, const Frame& frame, std::span<const ChartNote> notes);

// Techniques, places of the bow and the mute where they change, on one of two lines.
void draw_words(Svg& svg, const Frame& frame, std::span<const ChartNote> notes, double first_baseline);

} // namespace bowarm
