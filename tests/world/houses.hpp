// The configurations of the simulated studio.
#pragma once

#include <string>

namespace bowarm::world
{

// Each has the same control keys: 20 is bypass, 21 panic, 22 begins and ends a take.
inline constexpr int house_count = 6;

struct House {
    std::string text;
    bool passes{true}; // the sequencer's channel is heard, and goes to the first sampler
};

House house_of(int number);
// It chooses who plays, and no player hears it.
bool is_for_the_hands(int house, int key);

} // namespace bowarm::world
