#include "midi/ports/port_names.hpp"

#include <algorithm>
#include <charconv>
#include <cstddef>
#include <optional>
#include <regex.h>

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

constexpr std::string_view expression_sign = "re:";
constexpr std::size_t expression_bytes_at_most = 200;
constexpr std::size_t name_bytes_at_most = 512;
constexpr int repeats_at_most = 16;

std::optional<std::string> expression_of(std::string_view wish)
{
    if (!wish.starts_with(expression_sign)) return std::nullopt;
    return std::string{wish.substr(expression_sign.size())};
}

class Expression
{
public:
    explicit Expression(const std::string& text) : error_(::regcomp(&compiled_, text.c_str(), REG_EXTENDED | REG_ICASE | REG_NOSUB)) {}
    ~Expression()
    {
        if (error_ == 0) ::regfree(&compiled_);
    }
    Expression(const Expression&) = delete;
    Expression& operator=(const Expression&) = delete;

    std::string trouble() const
    {
        if (error_ == 0) return {};
        char text[200];
        ::regerror(error_, &compiled_, text, sizeof text);
        return text;
    }
    bool fits(std::string_view name) const
    {
        return error_ == 0 && ::regexec(&compiled_, std::string{name.substr(0, name_bytes_at_most)}.c_str(), 0, nullptr, 0) == 0;
    }

private:
    regex_t compiled_{};
    int error_;
};

// Every number behind an opening brace or a comma inside braces.
bool repeats_too_often(std::string_view text)
{
    int braces = 0;
    for (std::size_t i = 0; i < text.size(); ++i) {
        if (text[i] != '{') continue;
        if (++braces > 2) return true;
        for (std::size_t j = i + 1; j < text.size() && text[j] != '}'; ++j) {
            int number = 0;
            const auto [end, error] = std::from_chars(text.data() + j, text.data() + text.size(), number);
            if (error == std::errc::result_out_of_range || number > repeats_at_most) return true;
            if (error == std::errc{}) j = static_cast<std::size_t>(end - text.data()) - 1;
        }
    }
    return false;
}

bool has_back_reference(std::string_view text)
{
    for (std::size_t i = 0; i + 1 < text.size(); ++i) {
        if (text[i] != '\\') continue;
        if (is_digit(text[i + 1])) return true;
        ++i;
    }
    return false;
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
    if (const auto expression = expression_of(wish)) return trouble_with(wish).empty() && Expression{*expression}.fits(bare);
    const std::string wanted = lowered(wish);
    const std::string offered = lowered(bare);
    if (wanted.find('*') != std::string::npos) return matches_glob(wanted, offered);
    return offered.find(wanted) != std::string::npos;
}

namespace
{

bool means_several(std::string_view wish)
{
    return !is_quoted(wish) && !wish.starts_with(expression_sign) && wish.find('*') != std::string_view::npos;
}

// Those that are the wish exactly, else all that match.
std::vector<std::string> fitting(std::string_view wish, std::span<const std::string> names)
{
    std::vector<std::string> found, exact;
    const std::string wanted = lowered(wish);
    for (const std::string& name : names) {
        if (!matches(wish, name)) continue;
        found.push_back(name);
        if (lowered(without_numbers(name)) == wanted || (is_quoted(wish) && wish.substr(1, wish.size() - 2) == name)) exact.push_back(name);
    }
    return exact.empty() || means_several(wish) ? found : exact;
}

} // namespace

std::string trouble_with(std::string_view wish)
{
    const auto expression = expression_of(wish);
    if (!expression) return {};
    if (expression->empty()) return "is no expression";
    if (expression->size() > expression_bytes_at_most) return "is longer than " + std::to_string(expression_bytes_at_most) + " bytes";
    if (has_back_reference(*expression)) return "has a back reference";
    if (repeats_too_often(*expression)) return "has more than two {n,m}, or one above " + std::to_string(repeats_at_most);
    const std::string trouble = Expression{*expression}.trouble();
    return trouble.empty() ? trouble : "is no expression: " + trouble;
}

std::vector<std::string> chosen(std::string_view wish, std::span<const std::string> names)
{
    std::vector<std::string> found = fitting(wish, names);
    return found.size() < 2 || means_several(wish) ? found : std::vector<std::string>{};
}

std::vector<std::string> rivals(std::string_view wish, std::span<const std::string> names)
{
    std::vector<std::string> found = fitting(wish, names);
    return found.size() < 2 || means_several(wish) ? std::vector<std::string>{} : found;
}

std::string_view client_of(std::string_view name) { return name.substr(0, name.find(':')); }

bool is_own(std::string_view name, std::string_view client)
{
    const std::string_view theirs = client_of(name);
    return theirs == client || (theirs.starts_with(client) && theirs.size() > client.size() && theirs[client.size()] == ' ');
}

bool is_through(std::string_view name) { return lowered(name).find("midi through") != std::string::npos; }

} // namespace bowarm
