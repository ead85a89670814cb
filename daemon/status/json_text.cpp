#include "status/json_text.hpp"

#include <boost/json/serialize.hpp>
#include <charconv>
#include <cmath>
#include <cstddef>

namespace bowarm
{
namespace json = boost::json;

namespace
{

void append_double(std::string& out, double number)
{
    if (!std::isfinite(number)) {
        out += "null";
        return;
    }
    char digits[32];
    const auto end = std::to_chars(digits, digits + sizeof digits, number).ptr;
    out.append(digits, end);
}

void append(std::string& out, const json::value& value)
{
    if (const auto* array = value.if_array()) {
        out += '[';
        for (std::size_t i = 0; i < array->size(); ++i) {
            if (i != 0) out += ',';
            append(out, (*array)[i]);
        }
        out += ']';
    } else if (const auto* object = value.if_object()) {
        out += '{';
        const char* comma = "";
        for (const auto& member : *object) {
            out += comma;
            out += json::serialize(member.key());
            out += ':';
            append(out, member.value());
            comma = ",";
        }
        out += '}';
    } else if (const auto* number = value.if_double()) {
        append_double(out, *number);
    } else {
        out += json::serialize(value);
    }
}

// Length of the UTF-8 sequence at the start of the bytes; 0 where there is none (RFC 3629, section 4).
std::size_t sequence_length(std::string_view bytes)
{
    const auto at = [&](std::size_t i) { return static_cast<unsigned char>(bytes[i]); };
    const auto follows = [&](std::size_t i, unsigned low = 0x80, unsigned high = 0xBF) {
        return i < bytes.size() && at(i) >= low && at(i) <= high;
    };
    const unsigned first = at(0);
    if (first < 0x80) return 1;
    if (first >= 0xC2 && first <= 0xDF) return follows(1) ? 2 : 0;
    if (first >= 0xE0 && first <= 0xEF) {
        const unsigned low = first == 0xE0 ? 0xA0 : 0x80;  // no overlong forms
        const unsigned high = first == 0xED ? 0x9F : 0xBF; // no surrogates
        return follows(1, low, high) && follows(2) ? 3 : 0;
    }
    if (first >= 0xF0 && first <= 0xF4) {
        const unsigned low = first == 0xF0 ? 0x90 : 0x80;
        const unsigned high = first == 0xF4 ? 0x8F : 0xBF; // nothing beyond U+10FFFF
        return follows(1, low, high) && follows(2) && follows(3) ? 4 : 0;
    }
    return 0;
}

} // namespace

std::string json_text(const json::value& value)
{
    std::string out;
    append(out, value);
    return out;
}

json::value json_number(double number)
{
    if (!std::isfinite(number)) return nullptr;
    const double rounded = std::round(number * 1e6) / 1e6;
    return std::isfinite(rounded) ? rounded + 0.0 : number; // + 0.0: no minus zero
}

std::string utf8_text(std::string_view bytes)
{
    std::string out;
    while (!bytes.empty()) {
        const std::size_t length = sequence_length(bytes);
        if (length == 0) {
            out += "\xEF\xBF\xBD";
            bytes.remove_prefix(1);
        } else {
            out += bytes.substr(0, length);
            bytes.remove_prefix(length);
        }
    }
    return out;
}

} // namespace bowarm
