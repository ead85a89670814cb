#include "midi/ports/port_names.hpp"

#include <algorithm>
#include <cstddef>

namespace bowarm
{
namespace
{

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

std::string lowered(std::string_view text)
{
    std::string result{text};
    std::transform(result.begin(), result.end(), result.begin(), lower);
    return result;
}

std::string_view without_digits(std::string_view text)
{
    while (!text.empty() && is_digit(text.back())) text.remove_suffix(1);
    return text;
}

bool is_quoted(std::string_view wish) { return wish.size() >= 2 && wish.front() == '"' && wish.back() == '"'; }

// Linear in both, apart from going back to the last star.
bool matches_glob(std::string_view glob, std::string_view text)
{
    std::size_t g = 0, t = 0, star = std::string_view::npos, resume = 0;
    while (t < text.size()) {
        if (g < glob.size() && glob[g] == '*') {
            star = g++;
            resume = t;
        } else if (g < glob.size() && glob[g] == text[t]) {
            ++g;
            ++t;
        } else if (star != std::string_view::npos) {
            g = star + 1;
            t = ++resume;
        } else {
            return false;
        }
    }
    while (g < glob.size() && glob[g] == '*') ++g;
    return g == glob.size();
}

} // namespace

std::string_view without_numbers(std::string_view name)
{
    const std::string_view before_port = without_digits(name);
    if (before_port.size() == name.size() || !before_port.ends_with(':')) return name;
    const std::string_view colon = before_port.substr(0, before_port.size() - 1);
    const std::string_view before_client = without_digits(colon);
    if (before_client.size() == colon.size() || !before_client.ends_with(' ')) return name;
    return before_client.substr(0, before_client.size() - 1);
}

bool matches(std::string_view wish, std::string_view name)
{
    const std::string_view bare = without_numbers(name);
    if (is_quoted(wish)) {
        const std::string_view whole = wish.substr(1, wish.size() - 2);
        return whole == bare || whole == name;
    }
    if (wish.empty()) return false;
    const std::string wanted = lowered(wish);
    const std::string offered = lowered(bare);
    if (wanted.find('*') != std::string::npos) return matches_glob(wanted, offered);
    return offered.find(wanted) != std::string::npos;
}

std::vector<std::string> chosen(std::string_view wish, std::span<const std::string> names)
{
    std::vector<std::string> found;
    for (const std::string& name : names)
        if (matches(wish, name)) found.push_back(name);
    if (found.size() < 2 || (!is_quoted(wish) && wish.find('*') != std::string_view::npos)) return found;
    const std::string wanted = lowered(wish);
    const auto exact =
        std::find_if(found.begin(), found.end(), [&](const std::string& n) { return lowered(without_numbers(n)) == wanted; });
    return {exact != found.end() ? *exact : found.front()};
}

std::string_view client_of(std::string_view name) { return name.substr(0, name.find(':')); }

bool is_own(std::string_view name, std::string_view client)
{
    const std::string_view theirs = client_of(name);
    return theirs == client || (theirs.starts_with(client) && theirs.size() > client.size() && theirs[client.size()] == ' ');
}

bool is_through(std::string_view name) { return lowered(name).find("midi through") != std::string::npos; }

} // namespace bowarm
