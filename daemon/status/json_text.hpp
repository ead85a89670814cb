// JSON as one line of text that a person can read too: 0.31 and not 3.1E-1.
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none; what JSON cannot say becomes null.
//   source   RFC 8259 (numbers are finite, text is UTF-8).
#pragma once

#include <boost/json/value.hpp>
#include <string>
#include <string_view>

namespace bowarm
{

std::string json_text(const boost::json::value& value);

// Six decimals are finer than any quantity here; null where the number is not finite.
boost::json::value json_number(double number);

// What is not UTF-8 becomes U+FFFD: port names come from other programs, and fixed-size names may end inside a letter.
std::string utf8_text(std::string_view bytes);

} // namespace bowarm
