#include "studio/toml_library.hpp"

#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wconversion"
#include <toml.hpp>
#pragma GCC diagnostic pop

#include <algorithm>
#include <charconv>
#include <sstream>

namespace bowarm
{
namespace
{

TomlPlace place_of(const toml::value& value)
{
    const auto location = value.location();
    return {location.line(), location.column()};
}

TomlValue tree_of(const toml::value& value)
{
    TomlValue out;
    out.place = place_of(value);
    switch (value.type()) {
    case toml::value_t::boolean:
        out.kind = TomlKind::flag;
        out.flag = value.as_boolean();
        break;
    case toml::value_t::integer:
        out.kind = TomlKind::whole;
        out.whole = value.as_integer();
        out.number = static_cast<double>(out.whole);
        break;
    case toml::value_t::floating:
        out.kind = TomlKind::number;
        out.number = value.as_floating();
        break;
    case toml::value_t::string:
        out.kind = TomlKind::text;
        out.text = value.as_string().str;
        break;
    case toml::value_t::array:
        out.kind = TomlKind::array;
        for (const auto& item : value.as_array()) out.items.push_back(tree_of(item));
        break;
    case toml::value_t::table:
        out.kind = TomlKind::table;
        for (const auto& [key, entry] : value.as_table()) out.entries.emplace_back(key, tree_of(entry));
        // The library keeps no order; a person reads problems from the top down.
        std::sort(out.entries.begin(), out.entries.end(), [](const auto& a, const auto& b) {
            return std::tuple{a.second.place.line, a.second.place.column, std::string_view{a.first}} <
                   std::tuple{b.second.place.line, b.second.place.column, std::string_view{b.first}};
        });
        break;
    default:
        out.kind = TomlKind::date;
        break;
    }
    return out;
}

// The library's message is a picture: `12 | line` and under it `   |   ^--- remark`.  The last picture is where it stopped.
struct Picture {
    std::size_t line{0}, column{0};
    std::string remark;
};
Picture last_picture(const std::string& message)
{
    Picture out;
    std::istringstream lines{message};
    std::string line;
    std::size_t number = 0;
    while (std::getline(lines, line)) {
        const auto bar = line.find(" |");
        if (bar == std::string::npos) continue;
        const auto digit = line.find_first_not_of(' ');
        if (digit < bar) {
            const auto [end, error] = std::from_chars(line.data() + digit, line.data() + bar, number);
            if (error != std::errc{} || end != line.data() + bar) number = 0;
            continue;
        }
        const auto mark = line.find_first_of("^~", bar);
        if (number == 0 || mark == std::string::npos) continue;
        out = {number, mark - std::min(mark, bar + 2), {}};
        if (const auto text = line.find_first_not_of("^~- ", mark); text != std::string::npos) out.remark = line.substr(text);
        number = 0;
    }
    return out;
}

std::string first_line(const std::string& message)
{
    std::string line = message.substr(0, message.find('\n'));
    if (line.starts_with("[error] ")) line.erase(0, 8);
    if (line.starts_with("toml::")) {
        if (const auto colon = line.find(": "); colon != std::string::npos) line.erase(0, colon + 2);
    }
    while (!line.empty() && (line.back() == '.' || line.back() == ' ')) line.pop_back();
    return line;
}

} // namespace

std::variant<TomlValue, TomlSyntaxProblem> parse_with_library(const std::string& text)
{
    try {
        std::istringstream in{text};
        return tree_of(toml::parse(in, "text"));
    } catch (const toml::exception& error) {
        const std::string message = error.what();
        Picture picture = last_picture(message);
        if (picture.line == 0) picture = {error.location().line(), error.location().column(), {}};
        while (!picture.remark.empty() && picture.remark.back() == '.') picture.remark.pop_back();
        std::string what = first_line(message);
        if (!picture.remark.empty() && picture.remark != "here") what += " (" + picture.remark + ")";
        return TomlSyntaxProblem{{picture.line, picture.column}, what};
    } catch (const std::exception& error) {
        return TomlSyntaxProblem{{}, first_line(error.what())};
    }
}

} // namespace bowarm
