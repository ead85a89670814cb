// [controls]: which keys, pedals and controllers the person uses, and for what.
#pragma once

#include "bow/instrument.hpp"
#include "hear/controls.hpp"
#include "studio/key_rows.hpp"

namespace bowarm
{

void read_controls(const Section& section, Controls& into);
// What holds where there is no such section.
Controls default_controls();
// A control key that is a note of the instrument would take that note away.
void refuse_playable_keys(const Section& section, const Instrument& instrument);
// An action that names a string which the instrument does not have.
void refuse_missing_strings(const Section& section, const Instrument& instrument);
// An action that chooses a player who is not there.
void refuse_missing_players(const Section& section, std::size_t players);

} // namespace bowarm
