// Players who double each other are bowed alike.
//   A stroke is doubled where it is one of three or more, one after the other, that each begin within 30 ms of one of the other
//   player's, with no stroke of either between them: so lengths and slurs are the same.  Rests fall alike, too, and small strokes
//   to and fro double only such strokes.
//   in       the decisions of one player's take, and how others bowed the same music; times count from one origin
//   out      ChoiceNeeds::doubled: the way of the first of the others who doubles the stroke; empty where nobody does
//   source   common practice, no source: the section follows its leader, and principals agree.  The limits are our own.
//   thread   any, pure.  Real-time safe: no, it allocates; linear in the strokes of all.  Errors: none.
#pragma once

#include "take/take.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace bowarm
{

struct OthersStroke {
    Time at; // when the person began it, whatever the player's delay
    Direction direction{Direction::down};
    bool rested{false}; // a rest lies before it
    bool shaken{false}; // small strokes to and fro
};
using OthersBowing = std::vector<OthersStroke>; // in order

// later: by how much the player acts after the person.
OthersBowing bowing_to_follow(const std::vector<Decision>& decisions, Duration later);

struct Followed {
    std::span<const OthersBowing> others{}; // the first who doubles a stroke is followed
    Duration later{0};                      // of the player who follows
};

void bow_doubled_alike(std::vector<Decision>& decisions, const Followed& followed);

// How many strokes are doubled, and how many of them go the other's way.
struct Alike {
    std::size_t doubled{0}, alike{0};
};
Alike alike_in(const std::vector<Decision>& decisions, const Followed& followed);

} // namespace bowarm
