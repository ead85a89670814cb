// A target's file: how to speak to one sampler or synthesiser.  See key_rows.hpp for threads and errors.
#pragma once

#include "bow/instrument.hpp"
#include "studio/toml_reader.hpp"
#include "target/target_spec.hpp"

#include <optional>
#include <vector>

namespace bowarm
{

// The instrument decides `program = "instrument"` and which keys must not be keyswitches; nullptr when it could not be read.
// Empty when problems were added.
std::optional<TargetSpec> target_of(const TomlFile& file, const Instrument* instrument, std::vector<Problem>& problems);

} // namespace bowarm
