// `bowarmd takes bow-again` of several players: each is bowed with hindsight in turn, and those after follow those before where they
// double them.
//   --out is one file with a track for each, --part one score; every other paper is one file a player, with the player's name before
//   the ending.
//   Errors   CommandFailure: 64 wishes that are nobody's, bars in which nobody plays, outputs that would be one file; else as replay's.
#pragma once

#include "commands/replay.hpp"

#include <optional>
#include <span>
#include <string>

namespace bowarm
{

struct PlayersPiece {
    std::string name;
    Piece piece;
};

// Answers the exit code.
int bow_together(const BowingAsked& asked, const std::optional<std::string>& wishes_for, std::span<const PlayersPiece> players);

} // namespace bowarm
