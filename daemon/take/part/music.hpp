// What a part is made of, between the take and the page.
//   thread   plain data.
#pragma once

#include "base/technique.hpp"
#include "base/time.hpp"
#include "phrase/beat_place.hpp"
#include "player/fact.hpp"

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

namespace bowarm::part
{

// Written time, from the beginning of the part.
using Ticks = std::int64_t;
inline constexpr Ticks ticks_a_quarter = 480; // whole numbers down to the 128th, and in threes and fives

struct Bar {
    Ticks begin{0};
    Ticks length{0};
    BarMeter meter{4, 2};
    bool new_meter{false};
    Ticks end() const { return begin + length; }
};

// Where the hair ran out under a note, and its bow changed.
struct Turn {
    Time at;
    double onset{0}; // quarters from the beginning
    std::uint32_t stroke{no_number};
    Direction direction{Direction::down};
};

// A note as it was played and bowed.
struct PlayedNote {
    Time at, end;                // of the key, and of the sound
    double onset{0}, release{0}; // the same in quarters from the beginning
    Seconds quarter;             // how long one is there
    Fact told;                   // note_began, as it was told last
    Direction direction{Direction::down};
    bool retake{false};
    std::vector<Turn> turns{}; // in order
    bool bowed() const { return !told.plucked && !is_plucked(told.technique) && told.stroke != no_number; }
};

// A written head; the index is into the played notes.
struct Head {
    std::size_t played{0};
    bool tied_from{false}; // goes on from the segment before
    bool tied_on{false};   // goes on in the next one
};

// Notes struck together, or what sounds until the next ones are.
struct Segment {
    Ticks begin{0}, end{0};
    std::vector<Head> heads;    // the new ones first
    bool grace{false};          // before the segment that follows, without time of its own
    std::optional<Turn> turn{}; // it is on this bow, whatever its key began on
    bool new_attack() const { return !heads.empty() && !heads.front().tied_from; }
    std::size_t lead() const { return heads.front().played; }
    int tremolo{0}; // strokes through the stem
    bool trill{false};
};

// How a beat, or several together, are divided; parts that the meter does not give are a tuplet.
struct Division {
    Ticks begin{0}, length{0};
    int parts{1};
};

} // namespace bowarm::part
