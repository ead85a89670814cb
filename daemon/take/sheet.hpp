// A sheet for the session in which one or two players record over the mock-up: what comes, how hard it is, where a second pass
// helps, which notes of the mock-up are the least true, and when to come in.
//   What helps and what is hard is common practice, no source.
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/take.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace bowarm
{

struct SheetSection {
    std::string bars, time, techniques, dynamics, difficulty, second_pass;
};
struct SheetPlace {
    std::string bars, time, what;
};

struct Sheet {
    std::string title, under;
    std::vector<SheetSection> sections;
    std::vector<SheetPlace> least_true; // the worst first
    std::vector<SheetPlace> cues;
};

// At most as many rows as a page holds.
Sheet sheet_of(const Recorder& take, const ReportHead& head, std::string_view title);

std::string sheet_text(const Sheet& sheet);
std::string sheet_html(const Sheet& sheet); // standalone, for a page of A4

} // namespace bowarm
