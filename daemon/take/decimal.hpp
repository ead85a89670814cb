// Numbers as decimal text that is the same on every machine.
//   thread   any, pure.  Errors: none; what is no number or does not fit is said so by rounded() and printed as 0.
#pragma once

#include <optional>
#include <string>

namespace bowarm
{

// value times 10^decimals, to the nearest whole number, halves away from zero; empty for NaN and beyond 10^15.
std::optional<long long> rounded(double value, int decimals);

// "0.31", "-2.5", "3": at most `decimals` (0..9) places, no zeros at the end, never an exponent.
std::string decimal_text(double value, int decimals);

} // namespace bowarm
