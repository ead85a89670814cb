// One thing wrong in a text that a person wrote: printed as one line, with its place and what to do.
#pragma once

#include <string>

namespace bowarm
{

struct Problem {
    std::string where; // file:line:column, or the file alone
    std::string what;
    std::string remedy;
    bool missing_file{false};
    std::string line() const { return where + ": " + what + (remedy.empty() ? "" : "; " + remedy); }
};

} // namespace bowarm
