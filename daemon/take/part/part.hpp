// The bowed part for a live player: a take, quantised, as MusicXML 4.0.
//   in       a finished take, the player that bowed it, or several, and what the person wants of the page
//   out      one document in UTF-8, LF at line ends; the same take gives the same bytes
//   source   MusicXML 4.0 (W3C Community Group final report, 2021): elements, their order, and their values
//   thread   any, pure.  Real-time safe: no, it allocates.
//   Errors   none: what cannot be told from a take is left out of the part, and what is only estimated is said in words on it.
#pragma once

#include "midi/standard_file.hpp"
#include "take/take.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace bowarm
{

struct PartOptions {
    std::string title;
    std::int32_t first_bar{1};             // the number printed at the first bar
    std::vector<std::int32_t> rehearsal{}; // bars by their printed numbers, in any order; lettered from A
    struct Key {
        Time at;
        KeyChange key;
    };
    std::vector<Key> keys{}; // as a file told them, in order; empty: guessed from the notes
    struct Cue {
        std::string name; // of the other instrument
        std::vector<Input> played;
    };
    std::optional<Cue> cue{}; // another part of the same piece, from whose notes cues are taken after long rests
};

std::string part_xml(const Recorder& take, const PlayerConfig& player, const PartOptions& options);

// Of several players in one score: a part for each under its name.  Their takes have one origin, and beats and bars are the first
// one's, for all hear the same tempo; at least one.
struct PlayersPart {
    const Recorder& take;
    const PlayerConfig& player;
    std::string name; // empty: the instrument's
};
std::string score_xml(std::span<const PlayersPart> players, const PartOptions& options);

} // namespace bowarm
