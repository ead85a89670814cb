// What replay is told about bars, and what it says: tables on stdout, refusals and warnings on stderr.
//   thread   the command's.  Errors: CommandFailure with one line.
#pragma once

#include "take/hindsight.hpp"
#include "take/take.hpp"

#include <span>
#include <string>

namespace bowarm
{

// "12" or "12-14", given to an option.
Bars bars_of(const std::string& option, const std::string& text);
// The take has strokes in these bars, or one line says what it has.
void refuse_unknown_bars(const Bars& bars, const Recorder& take, const std::string& file);

// Strokes, warnings, warnings by bar, costs and regret, live beside hindsight.
void say_what_changed(const Recorder& live, const Recorder& again, const Hindsight& hindsight);
void say_warnings(const Recorder& take);
// True: every wish was obeyed.
bool say_outcomes(std::span<const WishOutcome> outcomes, const std::string& file);

} // namespace bowarm
