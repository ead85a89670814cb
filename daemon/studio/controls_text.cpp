#include "studio/controls_text.hpp"

#include "studio/key_names.hpp"
#include "studio/toml_places.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <charconv>
#include <optional>
#include <set>

namespace bowarm
{
namespace
{

// The text of a one-line value without its quotes.
std::string_view bare(std::string_view value)
{
    if (value.size() >= 2 && (value.front() == '"' || value.front() == '\'')) return value.substr(1, value.size() - 2);
    return value;
}

std::optional<int> whole_of(std::string_view value)
{
    int number = 0;
    const auto [end, error] = std::from_chars(value.data(), value.data() + value.size(), number);
    if (error != std::errc{} || end != value.data() + value.size()) return std::nullopt;
    return number;
}

class Editor
{
public:
    explicit Editor(const std::string& text) : text_(text), tables_(places_in(text)), changes_(text) {}

    ChangedText with(const ControlsWish& wish)
    {
        if (const auto odd = odd_form()) return *odd;
        write_values(wish.values);
        std::string new_keys, new_controllers;
        for (const KeyWish& key : wish.keys) write_key(key, new_keys);
        for (const ControllerWish& controller : wish.controllers) write_controller(controller, new_controllers);
        take_away(wish);
        if (!new_keys.empty()) changes_.add_lines(behind_last("controls.key"), new_keys);
        if (!new_controllers.empty()) changes_.add_lines(behind_last("controls.controller"), new_controllers);
        return changes_.applied();
    }

private:
    std::optional<Problem> odd_form() const
    {
        for (const TablePlace& table : tables_) {
            for (const EntryPlace& entry : table.entries) {
                const bool dotted = table.name.empty() && (entry.key == "controls" || entry.key.starts_with("controls."));
                const bool inside = table.name == "controls" && (entry.key == "key" || entry.key == "controller");
                if (!dotted && !inside) continue;
                const auto line = 1 + std::count(text_.begin(), text_.begin() + static_cast<std::ptrdiff_t>(entry.lines.begin), '\n');
                return Problem{"line " + std::to_string(line), "'" + entry.key + "' is a form of [controls] that is not edited here",
                               "write [controls], [[controls.key]] and [[controls.controller]] as the shipped file does"};
            }
        }
        return std::nullopt;
    }

    const TablePlace* table(std::string_view name) const
    {
        const auto found = std::find_if(tables_.begin(), tables_.end(), [&](const TablePlace& t) { return t.name == name; });
        return found == tables_.end() ? nullptr : &*found;
    }

    std::string_view word_at(const TablePlace& in, std::string_view key) const
    {
        const EntryPlace* entry = in.find(key);
        return entry == nullptr ? std::string_view{} : bare(entry->value.in(text_));
    }

    const TablePlace* doing(std::string_view name, std::string_view does) const
    {
        const auto found =
            std::find_if(tables_.begin(), tables_.end(), [&](const TablePlace& t) { return t.name == name && word_at(t, "does") == does; });
        return found == tables_.end() ? nullptr : &*found;
    }

    // Exchanged where it stands, with the comment behind it; else a new line at the end of the table.
    void set(const TablePlace& in, const std::string& key, const std::string& value)
    {
        if (const EntryPlace* entry = in.find(key))
            changes_.exchange(entry->value, value);
        else
            changes_.add_lines(in.end(), key + " = " + value + "\n");
    }

    void write_values(const std::vector<std::pair<std::string, std::string>>& values)
    {
        if (values.empty()) return;
        if (const TablePlace* controls = table("controls")) {
            for (const auto& [key, value] : values) set(*controls, key, value);
            return;
        }
        // In front of the tables inside it, where there are any: so a person reads them.
        const auto inner =
            std::find_if(tables_.begin(), tables_.end(), [](const TablePlace& t) { return t.name.starts_with("controls."); });
        const bool last = inner == tables_.end();
        std::string lines = last ? "\n[controls]\n" : "[controls]\n";
        for (const auto& [key, value] : values) lines += key + " = " + value + "\n";
        if (!last) lines += "\n";
        changes_.add_lines(last ? text_.size() : inner->header.begin, lines);
    }

    void write_key(const KeyWish& wish, std::string& added)
    {
        const std::string key = toml_text(key_word(wish.key.get()));
        if (const TablePlace* known = doing("controls.key", wish.does))
            set(*known, "key", key);
        else
            added += "\n[[controls.key]]\nkey = " + key + "\ndoes = " + toml_text(wish.does) + "\n";
    }

    void write_controller(const ControllerWish& wish, std::string& added)
    {
        const std::string number = std::to_string(wish.number.get()), from = std::to_string(wish.from.get()),
                          to = std::to_string(wish.to.get());
        if (const TablePlace* known = doing("controls.controller", wish.does)) {
            set(*known, "number", number);
            set(*known, "from", from);
            set(*known, "to", to);
        } else {
            added += "\n[[controls.controller]]\nnumber = " + number + "\nfrom = " + from + "\nto = " + to +
                     "\ndoes = " + toml_text(wish.does) + "\n";
        }
    }

    // Who had a wished key or controller before loses it.
    void take_away(const ControlsWish& wish)
    {
        std::set<std::string, std::less<>> staying;
        for (const KeyWish& key : wish.keys) staying.insert("key " + key.does);
        for (const ControllerWish& controller : wish.controllers) staying.insert("controller " + controller.does);
        for (const TablePlace& table : tables_) {
            const bool has_key = table.name == "controls.key" && takes_key(table, wish);
            const bool has_controller = table.name == "controls.controller" && takes_controller(table, wish);
            if (!has_key && !has_controller) continue;
            const std::string kind = has_key ? "key " : "controller ";
            const std::string does{word_at(table, "does")};
            // Of several tables with one action the first is the one that was written.
            if (staying.contains(kind + does) && doing(table.name, does) == &table) continue;
            changes_.exchange(without_blank_line({table.header.begin, table.end()}), "");
        }
    }
    bool takes_key(const TablePlace& table, const ControlsWish& wish) const
    {
        const std::string_view word = word_at(table, "key");
        const auto number = whole_of(word);
        const auto key = number ? Midi7::from(*number) : key_of_name(word);
        return key && std::any_of(wish.keys.begin(), wish.keys.end(), [&](const KeyWish& k) { return k.key == *key; });
    }
    bool takes_controller(const TablePlace& table, const ControlsWish& wish) const
    {
        const auto number = whole_of(word_at(table, "number"));
        return number && std::any_of(wish.controllers.begin(), wish.controllers.end(),
                                     [&](const ControllerWish& c) { return c.number.get() == *number; });
    }

    TextSpan without_blank_line(TextSpan place) const
    {
        if (text_.compare(place.end, 1, "\n") == 0)
            ++place.end;
        else if (text_.compare(place.end, 2, "\r\n") == 0)
            place.end += 2;
        return place;
    }

    // Where a table of that name may be added: behind the last of its kind, else behind the last of [controls].
    std::size_t behind_last(std::string_view name) const
    {
        std::size_t same = 0, any = 0;
        for (const TablePlace& table : tables_) {
            if (table.name == name) same = table.end();
            if (table.name == "controls" || table.name.starts_with("controls.")) any = table.end();
        }
        return same != 0 ? same : (any != 0 ? any : text_.size());
    }

    const std::string& text_;
    std::vector<TablePlace> tables_;
    TextChanges changes_;
};

} // namespace

ChangedText with_controls(const std::string& text, const ControlsWish& wish) { return Editor{text}.with(wish); }

} // namespace bowarm
