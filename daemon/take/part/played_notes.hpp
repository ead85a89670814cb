// The notes of a take as a person played them, with what the bow did.
//   in       a take; desk: of which player; later: by how much the player acted later than the person played
//   out      in the order of their onsets
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/part/beat_map.hpp"
#include "take/part/music.hpp"
#include "take/take.hpp"

#include <optional>
#include <vector>

namespace bowarm::part
{

std::vector<PlayedNote> notes_of(const Recorder& take, const BeatMap& beats, std::uint8_t desk, Duration later);
// Of another part, of which only the keys are known.
std::vector<PlayedNote> notes_of_keys(const std::vector<Input>& inputs, const BeatMap& beats);
// How many players the take has.
int desks_of(const Recorder& take);

} // namespace bowarm::part
