#include "studio/keyswitches_text.hpp"

#include "studio/toml_places.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <array>

namespace bowarm
{
namespace
{

std::string key_text(Midi7 key) { return toml_text(key_word(key.get())); }
std::string switch_text(Midi7 key) { return "{keyswitch = " + key_text(key) + "}"; }

// The key of an inline table {keyswitch = "C0", held = true}: what else it says stays.
std::optional<TextSpan> keyswitch_in(std::string_view text, TextSpan value)
{
    constexpr std::string_view word = "keyswitch";
    const std::size_t begin = value.in(text).find(word);
    if (begin == std::string_view::npos) return std::nullopt;
    const std::size_t first = text.find_first_not_of(" \t=", value.begin + begin + word.size());
    const std::size_t last = text.find_first_of(",} \t", first);
    return TextSpan{first, last};
}

class Editor
{
public:
    explicit Editor(const std::string& text) : text_(text), tables_(places_in(text)), changes_(text) {}

    void name(const std::string& name)
    {
        const EntryPlace* entry = tables_.front().find("name");
        if (entry != nullptr && !name.empty()) changes_.exchange(entry->value, toml_text(name));
    }

    void select(const KeyswitchWish& wish)
    {
        const std::string table_name = "technique." + std::string{technique_word(wish.technique)};
        const auto found = std::find_if(tables_.begin(), tables_.end(), [&](const TablePlace& t) { return t.name == table_name; });
        if (found == tables_.end()) {
            changes_.add_lines(text_.size(), "\n[" + table_name + "]\n" + lines_of(wish));
            return;
        }
        if (wish.up) {
            set(*found, "down", wish.key);
            set(*found, "up", *wish.up);
            drop(*found, "switch");
        } else {
            set(*found, "switch", wish.key);
            drop(*found, "down");
            drop(*found, "up");
        }
        drop(*found, "fallback");
    }

    std::string applied() const { return changes_.applied(); }

private:
    static std::string lines_of(const KeyswitchWish& wish)
    {
        if (!wish.up) return "switch = " + switch_text(wish.key) + "\n";
        return "down = " + switch_text(wish.key) + "\nup = " + switch_text(*wish.up) + "\n";
    }

    void set(const TablePlace& table, const std::string& key, Midi7 to)
    {
        const EntryPlace* entry = table.find(key);
        if (entry == nullptr) {
            changes_.add_lines(table.header.end, key + " = " + switch_text(to) + "\n");
        } else if (const auto place = keyswitch_in(text_, entry->value)) {
            changes_.exchange(*place, key_text(to));
        } else {
            changes_.exchange(entry->value, switch_text(to));
        }
    }

    void drop(const TablePlace& table, std::string_view key)
    {
        if (const EntryPlace* entry = table.find(key)) changes_.exchange(entry->lines, "");
    }

    const std::string& text_;
    std::vector<TablePlace> tables_;
    TextChanges changes_;
};

} // namespace

std::string with_keyswitches(const std::string& text, const std::string& name, const std::vector<KeyswitchWish>& wishes)
{
    Editor editor{text};
    editor.name(name);
    for (const KeyswitchWish& wish : wishes) editor.select(wish);
    return editor.applied();
}

} // namespace bowarm
