// The sound of a take with no sampler at all: bowed strings, driven by the speed, force and contact point that the arm gave.
//   Each note is tuned on its string; each string that sounds a bowed note is bowed as the bow went, plucked ones by a finger.
//   What a hand does beside bow and finger, vibrato and mute, is left out.
//   out      samples at sound_rate, the loudest a quarter of full scale; silence first
//   thread   any.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "bow/instrument.hpp"
#include "take/motion.hpp"
#include "take/take.hpp"

#include <cstdint>
#include <vector>

namespace bowarm
{

inline constexpr std::uint32_t sound_rate = 48'000;

std::vector<float> sound_of(const Recorder& take, const MotionRecord& motion, const Instrument& instrument);

} // namespace bowarm
