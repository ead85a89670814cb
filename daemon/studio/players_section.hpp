// [player], or a [[player]] for each of several: its instrument and target, what it hears and where it plays.
//   thread   any.  Real-time safe: no.  Errors: collected as problems of their files.
#pragma once

#include "studio/configuration.hpp"
#include "studio/key_rows.hpp"

namespace bowarm
{

// What players have in common.
struct PlayersSetting {
    std::filesystem::path folder; // of the configuration
    const Overrides& overrides;   // hold for every player
    const PlayerConfig& common;
    const std::optional<Section>& controls;
};

// Fills players, player and the two files; the ports have been read.
void read_players(const Section& top, const PlayersSetting& setting, Settings& settings);

} // namespace bowarm
