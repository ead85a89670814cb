// The one door to the TOML library; everything else sees TomlValue.
#pragma once

#include "studio/toml_reader.hpp"

#include <string>
#include <variant>

namespace bowarm
{

struct TomlSyntaxProblem {
    TomlPlace place;
    std::string what;
};

// May crash or never end on some texts: the caller tries it in a child process first.
std::variant<TomlValue, TomlSyntaxProblem> parse_with_library(const std::string& text);

} // namespace bowarm
