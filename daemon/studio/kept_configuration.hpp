// The texts behind the players, so that a take can be played again by the same ones wherever their files have gone since.
//   thread   any.  Real-time safe: no.
//   Errors   reading back: the loader's problems; std::system_error where the temporary folder cannot be written.
#pragma once

#include "studio/configuration.hpp"
#include "take/journal.hpp"

namespace bowarm
{

// Files that cannot be read any more are empty.
ConfigurationTexts texts_of(const Settings& settings);
// Of the players those whose files are there: a take that an older version kept has the first one's alone.
Loaded settings_of(const ConfigurationTexts& texts);

} // namespace bowarm
