// A Standard MIDI File as what a person would have played: the script that the engine follows in real time.
//   The same inputs at the same logical times as replay gives its player, so that the same messages come out.
//   thread   any.  Real-time safe: no.
//   Errors   ScriptProblem with one line to print and whether the file is missing.
#pragma once

#include "hear/input.hpp"

#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

namespace bowarm
{

class ScriptProblem : public std::runtime_error
{
public:
    ScriptProblem(const std::string& line, bool missing) : std::runtime_error(line), missing_(missing) {}
    bool missing() const noexcept { return missing_; }

private:
    bool missing_;
};

struct Script {
    std::vector<Input> inputs;
    std::vector<std::string> warnings; // what is odd in the file, one line each
};

// Keys that the file leaves down are released at its end.
Script script_of(const std::filesystem::path& file);

} // namespace bowarm
