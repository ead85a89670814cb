// An instrument's file.  See key_rows.hpp for threads and errors.
#pragma once

#include "bow/instrument.hpp"
#include "studio/toml_reader.hpp"

#include <optional>
#include <vector>

namespace bowarm
{

// Empty when problems were added.
std::optional<Instrument> instrument_of(const TomlFile& file, std::vector<Problem>& problems);

} // namespace bowarm
