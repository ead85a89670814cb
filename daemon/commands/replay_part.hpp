// `bowarmd replay --part`: the options that concern the bowed part, and the file.
//   Errors   CommandFailure: 64 an option that cannot be understood, 65 and 66 a cue that is no usable file, 73 and 74 as write_output.
#pragma once

#include "commands/options.hpp"
#include "midi/standard_file.hpp"
#include "take/part/part.hpp"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace bowarm
{

struct PartAsked {
    std::string file;
    PartOptions options;
};

// Empty: no part was asked for.  `in` is the file that is bowed.
std::optional<PartAsked> part_asked(const Arguments& arguments, const std::string& in);

// The keys that the file tells.
std::vector<PartOptions::Key> keys_told(const StandardFile& file);

// Compressed where the name ends with .mxl.
void write_part(const PartAsked& asked, const Recorder& take, const PlayerConfig& player);
// Of several players one score.
void write_score(const PartAsked& asked, std::span<const PlayersPart> players);

} // namespace bowarm
