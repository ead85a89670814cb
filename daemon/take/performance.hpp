// A Standard MIDI File played to a player: the loop that replay uses and that a live service uses for its test pieces.
//   thread   any; the caller owns the player.  Real-time safe: no, it allocates.
#pragma once

#include "hear/input.hpp"
#include "midi/standard_file.hpp"
#include "player/player.hpp"
#include "take/motion.hpp"
#include "take/take.hpp"

#include <span>
#include <vector>

namespace bowarm
{

// What a player hears of a file, in its order: channel messages of every track and channel come from `keyboard`,
// tempos and meters from source_file.  The file's own defaults, 120 quarters a minute in 4/4 (RP-001), are not made up.
std::vector<Input> inputs_of(const StandardFile& file, Source keyboard);

// True when some key is still down after these inputs.
bool leaves_keys_down(std::span<const Input> inputs);

// Plays the inputs, then lets the player come to rest; keys left down are released at `end`.
//   Every input and all that the player gives is kept in `take`.
//   False: the player found no rest within a minute of logical time after `end` and was silenced.
//   The bow is looked at all along, where `motion` is not null.
bool perform(Player& player, std::span<const Input> inputs, Time end, Recorder& take, MotionRecord* motion = nullptr);

// The second half of perform(): the inputs have been played, whatever they left down is released, and the player comes to rest.
bool come_to_rest(Player& player, std::span<const Input> inputs, Time end, Sink& sink, Recorder& take, MotionRecord* motion = nullptr);

} // namespace bowarm
