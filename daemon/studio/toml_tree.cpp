#include "studio/toml_reader.hpp"

#include <algorithm>

namespace bowarm
{

TomlValue::TomlValue() = default;
TomlValue::~TomlValue() = default;
TomlValue::TomlValue(const TomlValue&) = default;
TomlValue::TomlValue(TomlValue&&) noexcept = default;
TomlValue& TomlValue::operator=(const TomlValue&) = default;
TomlValue& TomlValue::operator=(TomlValue&&) noexcept = default;

const TomlValue* TomlValue::find(std::string_view key) const
{
    const auto found = std::find_if(entries.begin(), entries.end(), [&](const auto& entry) { return entry.first == key; });
    return found == entries.end() ? nullptr : &found->second;
}

std::string TomlFile::where(TomlPlace place) const
{
    if (place.line == 0) return path.string();
    return path.string() + ":" + std::to_string(place.line) + ":" + std::to_string(place.column);
}

std::string_view TomlFile::line(std::size_t number) const
{
    std::string_view rest{text};
    for (std::size_t i = 1; i < number; ++i) {
        const auto end = rest.find('\n');
        if (end == std::string_view::npos) return {};
        rest.remove_prefix(end + 1);
    }
    if (number == 0) return {};
    rest = rest.substr(0, rest.find('\n'));
    const auto first = rest.find_first_not_of(" \t\r");
    if (first == std::string_view::npos) return {};
    return rest.substr(first, rest.find_last_not_of(" \t\r") - first + 1);
}

} // namespace bowarm
