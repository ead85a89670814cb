#include "studio/toml_reader.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

constexpr int nesting_at_most = 16;
constexpr int key_parts_at_most = 16;

Problem problem(const std::filesystem::path& path, std::string what, std::string remedy)
{
    return {path.string(), std::move(what), std::move(remedy)};
}

// Length of the UTF-8 letter at the front; 0 when it is none (RFC 3629: no overlong forms, no surrogates, at most U+10FFFF).
std::size_t letter_length(std::string_view s)
{
    const auto byte = [&](std::size_t i) { return i < s.size() ? static_cast<unsigned char>(s[i]) : 0u; };
    const auto follows = [&](std::size_t i, unsigned low = 0x80, unsigned high = 0xBF) { return byte(i) >= low && byte(i) <= high; };
    const unsigned first = byte(0);
    if (first < 0x80) return 1;
    if (first >= 0xC2 && first <= 0xDF) return follows(1) ? 2 : 0;
    if (first >= 0xE0 && first <= 0xEF) {
        const unsigned low = first == 0xE0 ? 0xA0 : 0x80;
        const unsigned high = first == 0xED ? 0x9F : 0xBF;
        return follows(1, low, high) && follows(2) ? 3 : 0;
    }
    if (first >= 0xF0 && first <= 0xF4) {
        const unsigned low = first == 0xF0 ? 0x90 : 0x80;
        const unsigned high = first == 0xF4 ? 0x8F : 0xBF;
        return follows(1, low, high) && follows(2) && follows(3) ? 4 : 0;
    }
    return 0;
}

// Walks the bytes outside strings and comments; knows just enough of TOML to count brackets and dots.
class ByteScan
{
public:
    ByteScan(const std::filesystem::path& path, std::string_view text) : path_(path), text_(text) {}

    std::optional<Problem> run()
    {
        while (at_ < text_.size()) {
            if (text_[at_] == '\0') return here("a NUL byte", "write the file as plain text in UTF-8");
            const std::size_t length = letter_length(text_.substr(at_));
            if (length == 0) return here("not UTF-8", "save the file as UTF-8");
            if (auto found = step()) return found;
            at_ += length;
        }
        return std::nullopt;
    }

private:
    enum class Inside : std::uint8_t { nothing, comment, string, long_string };

    bool three(char quote) const
    {
        return at_ + 2 < text_.size() && text_[at_] == quote && text_[at_ + 1] == quote && text_[at_ + 2] == quote;
    }

    std::optional<Problem> step()
    {
        const char c = text_[at_];
        if (c == '\n') {
            ++line_;
            line_start_ = at_ + 1;
            dots_ = 0;
            if (inside_ != Inside::long_string) inside_ = Inside::nothing; // other strings end with their line
            return std::nullopt;
        }
        switch (inside_) {
        case Inside::comment:
            return std::nullopt;
        case Inside::string:
        case Inside::long_string:
            in_string(c);
            return std::nullopt;
        case Inside::nothing:
            return outside(c);
        }
        return std::nullopt;
    }

    void in_string(char c)
    {
        if (c == '\\' && quote_ == '"' && at_ + 1 < text_.size() && (text_[at_ + 1] == '"' || text_[at_ + 1] == '\\')) {
            ++at_;
        } else if (inside_ == Inside::string && c == quote_) {
            inside_ = Inside::nothing;
        } else if (inside_ == Inside::long_string && three(quote_)) {
            at_ += 2;
            inside_ = Inside::nothing;
        }
    }

    std::optional<Problem> outside(char c)
    {
        if (c == '#') {
            inside_ = Inside::comment;
        } else if (c == '"' || c == '\'') {
            quote_ = c;
            inside_ = three(c) ? Inside::long_string : Inside::string;
            if (inside_ == Inside::long_string) at_ += 2;
        } else if (c == '[' || c == '{') {
            dots_ = 0;
            if (++depth_ > nesting_at_most) return here("nested more than 16 deep", "nothing here needs more than 4");
        } else if (c == ']' || c == '}') {
            depth_ = std::max(0, depth_ - 1);
        } else if (c == '=' || c == ',') {
            dots_ = 0;
        } else if (c == '.' && ++dots_ >= key_parts_at_most) {
            return here("a key of more than 16 parts", "nothing here needs more than 3");
        }
        return std::nullopt;
    }

    Problem here(std::string what, std::string remedy) const
    {
        Problem out = problem(path_, std::move(what), std::move(remedy));
        out.where.append(":").append(std::to_string(line_)).append(":").append(std::to_string(at_ - line_start_ + 1));
        return out;
    }

    const std::filesystem::path& path_;
    std::string_view text_;
    std::size_t at_{0}, line_{1}, line_start_{0};
    Inside inside_{Inside::nothing};
    char quote_{'"'};
    int depth_{0}, dots_{0};
};

} // namespace

std::optional<Problem> byte_problem(const std::filesystem::path& path, std::string_view text)
{
    if (text.size() > toml_bytes_at_most)
        return problem(path, "larger than 256 KiB", "a configuration is a few pages; is this the right file?");
    return ByteScan{path, text}.run();
}

} // namespace bowarm
