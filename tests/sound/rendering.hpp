// The engine's curves made to sound on STK's strings.
//   in       the bow's moments; what to do with the force on the way, to see what a wrong force does
//   out      one sound for each string that was touched, from time 0, at sound_rate
#pragma once

#include "sound/bow_curves.hpp"

#include <array>
#include <functional>
#include <vector>

namespace bowarm::test
{

using StringSounds = std::array<std::vector<double>, 4>; // empty: never touched

// The force that the model is given where the engine gives a motion.
using ForceRule = std::function<Newtons(const Motion&, const StringContact&)>;
Newtons as_played(const Motion& bow, const StringContact& string);

StringContact string_contact(std::size_t string); // of the fixture's violin
Hertz hertz(int key);

StringSounds sound_of(const std::vector<BowMoment>& moments, Seconds length, const ForceRule& force = as_played);
// A steady bow from rest, evenly accelerated over the rise.
std::vector<double> steady_sound(std::size_t string, int key, const Motion& bow, Seconds rise, Seconds length);

} // namespace bowarm::test
