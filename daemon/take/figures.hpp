// Figures that return in a take.
//   A figure is the place in the bar where a group of strokes begins, and the lengths of its first two strokes; or a whole bar.
//   in       the decisions of a take with known lengths, and a first plan for them, stroke by stroke
//   out      ChoiceNeeds::figure of each group that nobody doubles, and of bars whose rhythm returns: the way most of its like went in
//            the plan; where a group's like are undecided, the first of them
//   source   common practice, no source
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/take.hpp"

#include <vector>

namespace bowarm
{

void bow_figures_alike(std::vector<Decision>& decisions, const std::vector<PlannedStroke>& plan);

} // namespace bowarm
