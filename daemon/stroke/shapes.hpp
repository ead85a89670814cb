// How strokes begin, end and turn: the segments that each technique puts on the line.
//   in       the planned steady motion with signed speed (down positive)
//   out      segments appended to the line
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/technique.hpp"
#include "bow/attack.hpp"
#include "bow/bounce.hpp"
#include "stroke/line.hpp"

namespace bowarm
{

// Turns last a multiple of twice this, so that their middle falls on the curve grid.
inline constexpr Duration curve_grid = milliseconds(5);

// From rest on the string into the stroke.
void start(Line& line, const Attack& attack, const Motion& planned) noexcept;
// One contact of a bouncing stroke: from the air, through the planned motion, back into the air.
void bounce(Line& line, Duration contact, const Motion& planned) noexcept;
// A thrown bow: contacts at shrinking intervals and forces while it travels on.
void throw_bow(Line& line, const BouncingBow& bow, Seconds first_interval, int contacts, const Motion& planned) noexcept;
// The note is over: the bow slows to rest, within the room of hair that is left ahead.
void stop(Line& line, Duration now, Technique technique, Metres room) noexcept;
// From this direction into the other; the bow stands still at half of the length.
Duration turn_length(Technique technique, Loudness loudness) noexcept;
// The turn shortened to the room of hair that is left ahead.
Duration turn_within(Metres room, MetresPerSecond speed, Duration length) noexcept;
void turn(Line& line, Duration now, Duration length, Technique technique, const Motion& after) noexcept;
// Metres that a turn still travels forward from its beginning.
constexpr Metres turn_distance(MetresPerSecond speed, Duration length) { return speed * to_seconds(length) / 3.0; }
// A new note in the same bow, after a moment in which it nearly stands.
void pulse(Line& line, Duration now, const Motion& planned) noexcept;
// The wanted motion has moved while the stroke sounds.
void follow(Line& line, Duration now, const Motion& wanted) noexcept;

} // namespace bowarm
