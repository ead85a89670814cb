// The report's JSON as a person can read it and every machine writes it alike: plain decimals of at most six places.
//   thread   any, pure.  Errors: none; NaN and infinities become null.
#pragma once

#include <boost/json/value.hpp>
#include <string>

namespace bowarm
{

// The members of the outermost object and the elements of its arrays stand on lines of their own; LF at the end.
std::string report_text(const boost::json::value& value);

} // namespace bowarm
