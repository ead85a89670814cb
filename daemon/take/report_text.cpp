#include "take/report_text.hpp"

#include "take/decimal.hpp"

#include <boost/json/serialize.hpp>

namespace bowarm
{

namespace
{

constexpr int decimals_of_json = 6;
constexpr int depth_of_lines = 2;

void append(std::string& text, const boost::json::value& value, int depth);

void new_line(std::string& text, int depth)
{
    if (depth > depth_of_lines) return;
    text += '\n';
    text.append(static_cast<std::size_t>(depth), ' ');
}

void append(std::string& text, const boost::json::object& object, int depth)
{
    text += '{';
    bool first = true;
    for (const auto& member : object) {
        if (!first) text += ',';
        first = false;
        text += boost::json::serialize(boost::json::string(member.key()));
        text += ':';
        append(text, member.value(), depth + 1);
    }
    text += '}';
}

void append(std::string& text, const boost::json::array& array, int depth)
{
    text += '[';
    bool first = true;
    for (const auto& element : array) {
        if (!first) text += ',';
        first = false;
        new_line(text, depth + 1);
        append(text, element, depth + 1);
    }
    text += ']';
}

void append(std::string& text, double number)
{
    text += rounded(number, decimals_of_json) ? decimal_text(number, decimals_of_json) : "null";
}

void append(std::string& text, const boost::json::value& value, int depth)
{
    if (const auto* object = value.if_object())
        append(text, *object, depth);
    else if (const auto* array = value.if_array())
        append(text, *array, depth);
    else if (const auto* number = value.if_double())
        append(text, *number);
    else
        text += boost::json::serialize(value);
}

} // namespace

void ReportText::begin_member(std::string_view key)
{
    if (!first_member_) text_ += ',';
    first_member_ = false;
    new_line(text_, 1);
    text_ += boost::json::serialize(boost::json::string(key)) + ":";
}

void ReportText::member(std::string_view key, const boost::json::value& value)
{
    begin_member(key);
    append(text_, value, 1);
}

void ReportText::begin_list(std::string_view key)
{
    begin_member(key);
    text_ += '[';
    first_element_ = true;
}

void ReportText::element(const boost::json::value& value)
{
    if (!first_element_) text_ += ',';
    first_element_ = false;
    new_line(text_, 2);
    append(text_, value, 2);
}

void ReportText::end_list() { text_ += ']'; }

std::string ReportText::finish()
{
    text_ += "\n}\n";
    return std::move(text_);
}

} // namespace bowarm
