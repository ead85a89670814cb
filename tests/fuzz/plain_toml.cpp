#include "plain_toml.hpp"

#include "studio/toml_reader.hpp"

#include <array>
#include <charconv>
#include <fstream>
#include <iterator>

namespace bowarm
{
namespace
{

constexpr int deepest = 16;

std::string shipped(const char* path)
{
    std::ifstream file{std::string{BOWARM_SOURCE_DIR "/config/"} + path, std::ios::binary};
    return {std::istreambuf_iterator<char>{file}, {}};
}

const std::array<std::string, 3>& shipped_files()
{
    static const std::array<std::string, 3> files{shipped("bowarm.toml"), shipped("instruments/violin.toml"),
                                                  shipped("targets/keyswitch-demo.toml")};
    return files;
}

std::array<std::string, 3>& files()
{
    static std::array<std::string, 3> now{shipped_files()};
    return now;
}

// Line by line; what is no line of this kind ends the reading with a problem.
class PlainReader
{
public:
    explicit PlainReader(const TomlFile& file) : file_(file), text_(file.text) {}

    std::optional<Problem> read(TomlValue& root)
    {
        TomlValue* table = &root;
        for (skip_to_something(); at_ < text_.size() && table != nullptr; skip_to_something()) table = read_line(root, *table);
        if (table != nullptr) return std::nullopt;
        return Problem{file_.where(place()), "not plain TOML", "see the shipped files"};
    }

private:
    TomlPlace place() const { return {line_, at_ - line_begin_ + 1}; }
    bool here(char c) const { return at_ < text_.size() && text_[at_] == c; }
    bool take(char c)
    {
        if (!here(c)) return false;
        ++at_;
        return true;
    }
    void skip_blanks()
    {
        while (here(' ') || here('\t') || here('\r')) ++at_;
    }
    void skip_to_something()
    {
        for (;;) {
            skip_blanks();
            if (here('#'))
                while (at_ < text_.size() && !here('\n')) ++at_;
            if (!take('\n')) return;
            ++line_;
            line_begin_ = at_;
        }
    }

    TomlValue* entry_in(TomlValue& table, const std::string& key)
    {
        if (table.kind == TomlKind::array) return table.items.empty() ? nullptr : entry_in(table.items.back(), key);
        if (table.kind != TomlKind::table) return nullptr;
        for (auto& [name, value] : table.entries)
            if (name == key) return &value;
        TomlValue& made = table.entries.emplace_back(key, TomlValue{}).second;
        made.place = place();
        return &made;
    }

    std::optional<std::string> word()
    {
        if (here('"') || here('\'')) return text();
        const std::size_t begin = at_;
        const auto is_letter = [](char c) {
            return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' || c == '-';
        };
        while (at_ < text_.size() && is_letter(text_[at_])) ++at_;
        if (at_ == begin) return std::nullopt;
        return std::string{text_.substr(begin, at_ - begin)};
    }

    std::optional<std::string> text()
    {
        const char quote = text_[at_++];
        std::string out;
        while (at_ < text_.size() && !here(quote) && !here('\n')) {
            if (quote == '"' && here('\\')) ++at_;
            if (at_ < text_.size()) out += text_[at_++];
        }
        if (!take(quote)) return std::nullopt;
        return out;
    }

    // The table that the following lines belong to; null: no such line.
    TomlValue* read_line(TomlValue& root, TomlValue& table)
    {
        if (take('[')) return read_header(root);
        const auto key = word();
        if (!key) return nullptr;
        skip_blanks();
        if (!take('=')) return nullptr;
        TomlValue* const value = table.find(*key) == nullptr ? entry_in(table, *key) : nullptr;
        if (value == nullptr || !read_value(*value, 0)) return nullptr;
        skip_blanks();
        const bool ends = at_ >= text_.size() || here('\n') || here('#');
        return ends ? &row_of(table) : nullptr;
    }
    static TomlValue& row_of(TomlValue& table) { return table.kind == TomlKind::array ? table.items.back() : table; }

    TomlValue* read_header(TomlValue& root)
    {
        const bool row = take('[');
        TomlValue* table = &root;
        do {
            skip_blanks();
            const auto key = word();
            table = key ? entry_in(*table, *key) : nullptr;
            skip_blanks();
        } while (table != nullptr && take('.'));
        if (table == nullptr || !take(']') || (row && !take(']'))) return nullptr;
        if (!row) return table->kind == TomlKind::table ? table : nullptr;
        if (table->kind == TomlKind::table && table->entries.empty()) table->kind = TomlKind::array;
        if (table->kind != TomlKind::array) return nullptr;
        TomlValue& added = table->items.emplace_back();
        added.place = place();
        return &added;
    }

    bool read_value(TomlValue& value, int depth)
    {
        skip_blanks();
        value.place = place();
        if (at_ >= text_.size() || depth > deepest) return false;
        if (here('"') || here('\'')) {
            value.kind = TomlKind::text;
            const auto read = text();
            if (read) value.text = *read;
            return read.has_value();
        }
        if (take('[')) return read_list(value, depth);
        if (take('{')) return read_inline(value, depth);
        return read_plain(value);
    }

    bool read_list(TomlValue& value, int depth)
    {
        value.kind = TomlKind::array;
        for (;;) {
            skip_to_something();
            if (take(']')) return true;
            if (!read_value(value.items.emplace_back(), depth + 1)) return false;
            skip_to_something();
            if (!take(',') && !here(']')) return false;
        }
    }

    bool read_inline(TomlValue& value, int depth)
    {
        value.kind = TomlKind::table;
        for (;;) {
            skip_blanks();
            if (take('}')) return true;
            const auto key = word();
            skip_blanks();
            if (!key || !take('=') || value.find(*key) != nullptr) return false;
            TomlValue entry;
            if (!read_value(entry, depth + 1)) return false;
            value.entries.emplace_back(*key, std::move(entry));
            skip_blanks();
            if (!take(',') && !here('}')) return false;
        }
    }

    bool read_plain(TomlValue& value)
    {
        const std::size_t begin = at_;
        while (at_ < text_.size() && std::string_view{" \t\r\n,]}#"}.find(text_[at_]) == std::string_view::npos) ++at_;
        const std::string_view word = text_.substr(begin, at_ - begin);
        if (word == "true" || word == "false") {
            value.kind = TomlKind::flag;
            value.flag = word == "true";
            return true;
        }
        const char* const last = word.data() + word.size();
        if (const auto [end, error] = std::from_chars(word.data(), last, value.whole); error == std::errc{} && end == last) {
            value.kind = TomlKind::whole;
            value.number = static_cast<double>(value.whole);
            return true;
        }
        value.kind = TomlKind::number; // inf and nan, too, as in TOML
        const auto [end, error] = std::from_chars(word.data(), last, value.number);
        return !word.empty() && error == std::errc{} && end == last;
    }

    const TomlFile& file_;
    std::string_view text_;
    std::size_t at_{0}, line_{1}, line_begin_{0};
};

} // namespace

TomlRead read_toml_text(const std::filesystem::path& path, std::string text)
{
    if (auto found = byte_problem(path, text)) return *found;
    TomlFile file{path, std::move(text), {}};
    TomlValue root;
    if (auto problem = PlainReader{file}.read(root)) return *problem;
    file.root = std::move(root);
    return file;
}

TomlRead read_toml_file(const std::filesystem::path& path)
{
    constexpr std::array<std::string_view, 3> names{"bowarm.toml", "instrument.toml", "target.toml"};
    for (std::size_t i = 0; i < names.size(); ++i)
        if (path.filename() == names[i]) return read_toml_text(path, files()[i]);
    return Problem{path.string(), "no such file", "check the path"};
}

namespace fuzz
{

void put_in_place(Replaced which, std::string text)
{
    files() = shipped_files();
    files()[static_cast<std::size_t>(which)] = std::move(text);
}

} // namespace fuzz

} // namespace bowarm
