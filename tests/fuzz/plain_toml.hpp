// Stands where studio/toml_reader stands: the same tree from the same texts, for as much of TOML as configurations use, without the
// library and its child process.  Three files are known: a configuration, an instrument, a target.
#pragma once

#include <string>

namespace bowarm::fuzz
{

enum class Replaced : unsigned char { configuration, instrument, target };

// This text is that file from now on; the other two are the shipped ones.
void put_in_place(Replaced which, std::string text);

} // namespace bowarm::fuzz
