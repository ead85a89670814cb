// [vibrato]: the person's vibrato, where the arm is to shape it.
#pragma once

#include "player/player.hpp"
#include "studio/key_rows.hpp"

namespace bowarm
{

// Read after [controls]: a controller serves one purpose.
void read_vibrato(const Section& section, PlayerConfig& into);

} // namespace bowarm
