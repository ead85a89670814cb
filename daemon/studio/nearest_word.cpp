#include "studio/nearest_word.hpp"

#include <algorithm>
#include <numeric>
#include <vector>

namespace bowarm
{

std::size_t edit_distance(std::string_view a, std::string_view b)
{
    std::vector<std::size_t> row(b.size() + 1);
    std::iota(row.begin(), row.end(), std::size_t{0});
    for (std::size_t i = 1; i <= a.size(); ++i) {
        std::size_t diagonal = row[0];
        row[0] = i;
        for (std::size_t j = 1; j <= b.size(); ++j) {
            const std::size_t exchanged = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
            diagonal = row[j];
            row[j] = std::min({row[j] + 1, row[j - 1] + 1, exchanged});
        }
    }
    return row[b.size()];
}

std::string_view nearest_word(std::string_view given, std::span<const std::string_view> known)
{
    constexpr std::size_t longest = 100; // a word so long is no slip of the finger
    if (given.size() > longest) return {};
    std::string_view best;
    std::size_t least = std::max<std::size_t>(2, given.size() / 3) + 1;
    for (const std::string_view word : known) {
        const std::size_t distance = edit_distance(given, word);
        if (distance < least && distance < word.size()) {
            least = distance;
            best = word;
        }
    }
    return best;
}

std::string suggestion(std::string_view given, std::span<const std::string_view> known)
{
    if (const auto near = nearest_word(given, known); !near.empty()) return "did you mean '" + std::string{near} + "'?";
    std::string list = "known: ";
    for (std::size_t i = 0; i < known.size(); ++i) list += (i == 0 ? "" : ", ") + std::string{known[i]};
    return list;
}

std::string shown(std::string_view text)
{
    constexpr std::size_t longest = 60;
    bool cut = false;
    if (text.size() > longest) {
        std::size_t end = longest;
        while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end; // never inside a UTF-8 letter
        text = text.substr(0, end);
        cut = true;
    }
    std::string out;
    for (const char c : text) out += static_cast<unsigned char>(c) < 0x20 || c == 0x7F ? '?' : c;
    return cut ? out + "..." : out;
}

} // namespace bowarm
