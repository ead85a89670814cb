// Where the tables and keys of a TOML text stand, so that some can be exchanged and every other byte stays as it is.
//   in       a text that read_toml_text took; nothing else is checked again
//   out      byte offsets into it
//   source   TOML 1.0.0 (toml.io)
//   thread   any, pure.  Real-time safe: no.  Errors: none.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace bowarm
{

struct TextSpan {
    std::size_t begin{0}, end{0};
    std::string_view in(std::string_view text) const { return text.substr(begin, end - begin); }
};

struct EntryPlace {
    std::string key; // parts joined by dots, without quotes
    TextSpan lines;  // whole lines, with their ends
    TextSpan value;  // without blanks and comments around it
};

struct TablePlace {
    std::string name;   // as EntryPlace::key; empty: the top of the file
    bool in_row{false}; // [[name]]
    TextSpan header;    // its whole line
    std::vector<EntryPlace> entries;
    // Behind the header and the last entry: comments that follow may belong to what comes next.
    std::size_t end() const { return entries.empty() ? header.end : entries.back().lines.end; }
    const EntryPlace* find(std::string_view key) const;
};

// As TOML writes a text that has neither quotes nor backslashes in it.
std::string toml_text(std::string_view text);

// In the order of the text; the first is the top of the file.
std::vector<TablePlace> places_in(std::string_view text);

// A text with some parts exchanged.  Exchanged parts do not overlap; two changes at one place keep the order they were asked for in.
class TextChanges
{
public:
    explicit TextChanges(std::string_view text);
    void exchange(TextSpan place, std::string with) { changes_.push_back({place, std::move(with)}); }
    // Whole lines, "\n" at each end; they get the text's own kind of line end.
    void add_lines(std::size_t at, std::string lines);
    std::string applied() const;

private:
    struct Change {
        TextSpan place;
        std::string with;
    };
    std::string_view text_;
    std::string_view line_end_;
    std::vector<Change> changes_;
};

} // namespace bowarm
