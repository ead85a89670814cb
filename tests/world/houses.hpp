// The configurations of the simulated studio.
#pragma once

#include <string>

namespace bowarm::world
{

// Each has the same control keys: 20 is bypass, 21 panic, 22 begins and ends a take.
inline constexpr int house_count = 6;

struct House {
    std::string text;
    bool one_hears_all{true}; // one player, which hears every input whole
    bool passes{true};        // the sequencer's channel is heard
};

House house_of(int number);

} // namespace bowarm::world
