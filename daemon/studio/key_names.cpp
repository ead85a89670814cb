#include "studio/key_names.hpp"

#include "take/words.hpp"

#include <array>
#include <charconv>

namespace bowarm
{
std::optional<Midi7> key_of_name(std::string_view name)
{
    constexpr std::array<int, 7> from_c{9, 11, 0, 2, 4, 5, 7}; // A B C D E F G
    if (name.empty()) return std::nullopt;
    const char letter = name[0] >= 'a' && name[0] <= 'g' ? static_cast<char>(name[0] - 'a' + 'A') : name[0];
    if (letter < 'A' || letter > 'G') return std::nullopt;
    int step = from_c[static_cast<std::size_t>(letter - 'A')];
    name.remove_prefix(1);
    if (!name.empty() && (name[0] == '#' || name[0] == 'b')) {
        step += name[0] == '#' ? 1 : -1;
        name.remove_prefix(1);
    }
    int octave = 0;
    const auto [end, error] = std::from_chars(name.data(), name.data() + name.size(), octave);
    if (error != std::errc{} || end != name.data() + name.size() || octave < -1 || octave > 9) return std::nullopt;
    return Midi7::from((octave + 1) * 12 + step);
}

std::vector<std::string_view> technique_names()
{
    std::vector<std::string_view> out;
    for (int i = 0; i < technique_count; ++i) out.push_back(technique_word(static_cast<Technique>(i)));
    return out;
}

} // namespace bowarm
