#include "studio/toml_places.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

class PlaceReader
{
public:
    explicit PlaceReader(std::string_view text) : text_(text) { out_.emplace_back(); }

    std::vector<TablePlace> read()
    {
        while (at_ < text_.size()) {
            const std::size_t line = at_;
            skip_blanks();
            if (here('['))
                read_header(line);
            else if (at_ < text_.size() && !here('#') && !here('\n') && !here('\r'))
                read_entry(line);
            skip_line();
        }
        return std::move(out_);
    }

private:
    bool here(char c) const { return at_ < text_.size() && text_[at_] == c; }
    void skip_blanks()
    {
        while (here(' ') || here('\t')) ++at_;
    }
    void skip_line()
    {
        const std::size_t end = text_.find('\n', at_);
        at_ = end == std::string_view::npos ? text_.size() : end + 1;
    }
    std::size_t line_end() const
    {
        const std::size_t end = text_.find('\n', at_);
        return end == std::string_view::npos ? text_.size() : end + 1;
    }

    std::string key_part()
    {
        if (here('"') || here('\'')) {
            const std::size_t begin = at_;
            skip_string();
            return std::string{text_.substr(begin + 1, at_ - begin - 2)};
        }
        const std::size_t begin = at_;
        while (at_ < text_.size() && std::string_view{" \t.=]\r\n"}.find(text_[at_]) == std::string_view::npos) ++at_;
        return std::string{text_.substr(begin, at_ - begin)};
    }
    std::string key()
    {
        std::string out;
        while (true) {
            skip_blanks();
            out += key_part();
            skip_blanks();
            if (!here('.')) return out;
            out += '.';
            ++at_;
        }
    }

    void read_header(std::size_t line)
    {
        ++at_;
        TablePlace table;
        table.in_row = here('[');
        if (table.in_row) ++at_;
        table.name = key();
        table.header = {line, line_end()};
        out_.push_back(std::move(table));
    }

    void read_entry(std::size_t line)
    {
        EntryPlace entry;
        entry.key = key();
        if (here('=')) ++at_;
        skip_blanks();
        entry.value.begin = at_;
        skip_value();
        entry.value.end = at_;
        entry.lines = {line, line_end()};
        out_.back().entries.push_back(std::move(entry));
    }

    // To the end of the line or to its comment, over lists and texts of several lines; then back over blanks.
    void skip_value()
    {
        int depth = 0;
        std::size_t last = at_;
        for (; at_ < text_.size(); ++at_) {
            const char c = text_[at_];
            if (c == '\n' && depth == 0) break;
            if (c == '#') {
                if (depth == 0) break;
                at_ = line_end() - 1;
                continue;
            }
            if (c == '"' || c == '\'') {
                skip_string();
                last = at_--;
                continue;
            }
            if (c == '[' || c == '{') ++depth;
            if (c == ']' || c == '}') --depth;
            if (c != ' ' && c != '\t' && c != '\r' && c != '\n') last = at_ + 1;
        }
        at_ = last;
    }

    // From its first quote to behind its last.
    void skip_string()
    {
        const char quote = text_[at_];
        const std::string three(3, quote);
        const bool long_one = text_.substr(at_, 3) == three;
        at_ += long_one ? 3 : 1;
        while (at_ < text_.size()) {
            if (quote == '"' && text_[at_] == '\\') {
                at_ += 2;
                continue;
            }
            if (!long_one && text_[at_] == quote) break;
            if (long_one && text_.substr(at_, 3) == three) break;
            ++at_;
        }
        at_ = std::min(text_.size(), at_ + (long_one ? 3 : 1));
        // A long text may end in one or two quotes of its own.
        while (long_one && here(quote)) ++at_;
    }

    std::string_view text_;
    std::size_t at_{0};
    std::vector<TablePlace> out_;
};

} // namespace

const EntryPlace* TablePlace::find(std::string_view key) const
{
    const auto found = std::find_if(entries.begin(), entries.end(), [&](const EntryPlace& entry) { return entry.key == key; });
    return found == entries.end() ? nullptr : &*found;
}

std::string toml_text(std::string_view text)
{
    std::string out{'"'};
    out += text;
    out += '"';
    return out;
}

std::vector<TablePlace> places_in(std::string_view text) { return PlaceReader{text}.read(); }

TextChanges::TextChanges(std::string_view text) : text_(text), line_end_(text.find("\r\n") == std::string_view::npos ? "\n" : "\r\n") {}

void TextChanges::add_lines(std::size_t at, std::string lines)
{
    std::string with;
    // The line before may be the last of the file, without an end.
    if (at > 0 && text_[at - 1] != '\n') with += line_end_;
    for (const char c : lines) {
        if (c == '\n')
            with += line_end_;
        else
            with += c;
    }
    changes_.push_back({{at, at}, std::move(with)});
}

std::string TextChanges::applied() const
{
    std::vector<Change> ordered = changes_;
    std::stable_sort(ordered.begin(), ordered.end(), [](const Change& a, const Change& b) { return a.place.begin < b.place.begin; });
    std::string out;
    std::size_t at = 0;
    for (const Change& change : ordered) {
        if (change.place.begin > at) out += text_.substr(at, change.place.begin - at);
        out += change.with;
        at = std::max(at, change.place.end); // lines added inside a part that goes away stand in its place
    }
    out += text_.substr(at);
    return out;
}

} // namespace bowarm
