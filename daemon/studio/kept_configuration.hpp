// The texts behind a player, so that a take can be played again by the same one wherever its files have gone since.
//   thread   any.  Real-time safe: no.
//   Errors   reading back: the loader's problems; std::system_error where the temporary folder cannot be written.
#pragma once

#include "studio/configuration.hpp"
#include "take/journal.hpp"

namespace bowarm
{

// Files that cannot be read any more are empty.
ConfigurationTexts texts_of(const Settings& settings);
Loaded settings_of(const ConfigurationTexts& texts);

} // namespace bowarm
