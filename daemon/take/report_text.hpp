// The report's JSON as a person can read it and every machine writes it alike: plain decimals of at most six places.
//   thread   any, pure.  Errors: none; NaN and infinities become null.
#pragma once

#include <boost/json/value.hpp>
#include <string>
#include <string_view>

namespace bowarm
{

// Written member by member, and long lists element by element, so that a long take need not be held twice.
//   The members of the outermost object and the elements of its arrays stand on lines of their own; LF at the end.
class ReportText
{
public:
    void member(std::string_view key, const boost::json::value& value);
    void begin_list(std::string_view key);
    void element(const boost::json::value& value);
    void end_list();
    std::string finish();

private:
    void begin_member(std::string_view key);

    std::string text_{"{"};
    bool first_member_{true};
    bool first_element_{true};
};

} // namespace bowarm
