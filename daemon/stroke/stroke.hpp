// The room of the stroke: the curves in time of speed, force and contact point.
//   line.hpp    segments in closed form
//   shapes.hpp  how techniques begin, end, turn and follow
//   shake.hpp   tremolo
//   Units in the types.  thread: the player's.  Real-time safe: yes.
#pragma once

#include "stroke/line.hpp"
#include "stroke/shake.hpp"
#include "stroke/shapes.hpp"
