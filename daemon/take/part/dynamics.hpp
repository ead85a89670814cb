// Dynamics and hairpins from the loudness that was asked for.
//   in       a take, the controls of its player, the segments of a part
//   out      marks in order of time
//   source   six steps of equal width from pp to ff: a choice of ours; common practice for hairpins, no source
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "hear/controls.hpp"
#include "take/part/beat_map.hpp"
#include "take/part/music.hpp"

#include <span>
#include <string_view>
#include <vector>

namespace bowarm::part
{

enum class DynamicKind : std::uint8_t { level, crescendo, diminuendo, hairpin_ends };

struct Dynamic {
    Ticks at{0};
    DynamicKind kind{DynamicKind::level};
    int level{0}; // 0 pp .. 5 ff
};

std::string_view dynamic_word(int level);

// The loudness controller where the person touched it, else how hard the keys were struck.
std::vector<Dynamic> dynamics_of(const Recorder& take, const Controls& controls, const BeatMap& beats, std::span<const Segment> segments,
                                 std::span<const PlayedNote> notes);

} // namespace bowarm::part
