// Two takes of a piece as one performance: the first up to a bar line, the second from that bar on.
//   in       the takes, bowed, so that it is known where their bars begin
//   out      the inputs of one performance; played to one player, its bow goes over the seam as any bow does
//   The second take is moved so that the bar lines lie together.  What is held at the seam in the first is released there; a note of
//   the second that was held from before is left out; its controllers, tempo and meter are set at the seam.
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/take.hpp"

#include <cstdint>
#include <optional>
#include <vector>

namespace bowarm
{

struct BarLine {
    Time at;
    Duration beat;
};
// Empty: no note begins in that bar, or its beat is not known.
std::optional<BarLine> bar_line(const Recorder& take, std::int32_t bar);

std::vector<Input> joined(const Recorder& first, const BarLine& first_bar, const Recorder& second, const BarLine& second_bar);

} // namespace bowarm
