#include "studio/key_rows.hpp"

#include "studio/key_names.hpp"
#include "studio/nearest_word.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace bowarm
{
namespace
{

std::string number_text(double value)
{
    char out[32];
    std::snprintf(out, sizeof out, "%.10g", value);
    return out;
}

bool is_plain_ascii(std::string_view text)
{
    return std::all_of(text.begin(), text.end(), [](char c) { return c >= 0x20 && c < 0x7F && c != ':'; });
}
bool is_one_line(std::string_view text)
{
    return std::none_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7F; });
}

// What a row asks for, in words.
std::string demand(const KeyFacts& facts)
{
    const std::string low = number_text(facts.low), high = number_text(facts.high);
    switch (facts.takes) {
    case Takes::number:
        return "a number from " + low + " to " + high;
    case Takes::whole:
        return "a whole number from " + low + " to " + high;
    case Takes::flag:
        return "true or false";
    case Takes::word: {
        std::string list = "one of ";
        const auto words = words_of(facts.words);
        for (std::size_t i = 0; i < words.size(); ++i) list += (i == 0 ? "\"" : ", \"") + std::string{words[i]} + "\"";
        return list;
    }
    case Takes::text:
        return "a text of one line, " + low + " to " + high + " bytes";
    case Takes::name:
        return "a name of " + low + " to " + high + " plain ASCII letters without a colon";
    case Takes::texts:
        return "a list of at most " + high + " texts in quotes, none empty";
    case Takes::key:
        return "a key such as \"C4\" (middle C, 60), \"F#3\" or \"Bb2\", or its number from 0 to 127";
    case Takes::any:
        return "a table";
    }
    return {};
}

Given given_of(const Fallback& fallback, const KeyFacts& facts)
{
    Given out;
    if (const auto* n = std::get_if<double>(&fallback)) {
        out.number = *n;
        out.whole = static_cast<int>(*n);
    } else if (const auto* f = std::get_if<bool>(&fallback)) {
        out.flag = *f;
    } else if (const auto* t = std::get_if<std::string_view>(&fallback)) {
        out.text = *t;
        if (facts.takes == Takes::word) {
            const auto words = words_of(facts.words);
            out.word = static_cast<std::size_t>(std::find(words.begin(), words.end(), *t) - words.begin());
        }
    }
    return out;
}

} // namespace

std::vector<std::string_view> words_of(std::string_view list)
{
    std::vector<std::string_view> out;
    while (!list.empty()) {
        const auto bar = list.find('|');
        out.push_back(list.substr(0, bar));
        if (bar == std::string_view::npos) break;
        list.remove_prefix(bar + 1);
    }
    return out;
}

void Findings::add(TomlPlace place, const std::string& key, const std::string& what, const std::string& remedy)
{
    const std::string line = shown(file_.line(place.line));
    std::string text = key.empty() ? what : key + ": " + what;
    if (!line.empty()) text += ", in `" + line + "`";
    problems_.push_back({file_.where(place), text, remedy});
}

void Section::complain(std::string_view key, const std::string& what, const std::string& remedy) const
{
    const TomlValue* value = table_->find(key);
    findings_->add(value ? value->place : table_->place, full(key), what, remedy);
}

void Section::complain(const std::string& what, const std::string& remedy) const { findings_->add(table_->place, name_, what, remedy); }

std::optional<Given> Section::read(const KeyFacts& facts) const
{
    if (const TomlValue* value = table_->find(facts.name)) return checked(facts, *value);
    if (std::holds_alternative<Needed>(facts.fallback))
        complain(facts.name, "missing", "give " + demand(facts) + ": " + std::string{facts.help});
    if (facts.fallback.index() <= 1) return std::nullopt;
    return given_of(facts.fallback, facts);
}

std::optional<Given> Section::refuse(const KeyFacts& facts, const TomlValue& value) const
{
    std::string remedy = std::string{facts.help};
    if (facts.takes == Takes::word && value.kind == TomlKind::text) {
        const auto words = words_of(facts.words);
        if (const auto near = nearest_word(value.text, words); !near.empty()) remedy = "did you mean \"" + std::string{near} + "\"?";
    }
    findings_->add(value.place, full(facts.name), "must be " + demand(facts), remedy);
    return std::nullopt;
}

std::optional<Given> Section::checked(const KeyFacts& facts, const TomlValue& value) const
{
    Given out;
    const bool is_number = value.kind == TomlKind::whole || value.kind == TomlKind::number;
    // Written so that a value which is no number at all (NaN) fails.
    const auto within = [&](double x) { return x >= facts.low && x <= facts.high; };
    switch (facts.takes) {
    case Takes::number:
        if (!is_number || !within(value.number)) return refuse(facts, value);
        out.number = value.number;
        return out;
    case Takes::whole:
        if (value.kind != TomlKind::whole || !within(value.number)) return refuse(facts, value);
        out.number = value.number;
        out.whole = static_cast<int>(value.whole);
        return out;
    case Takes::flag:
        if (value.kind != TomlKind::flag) return refuse(facts, value);
        out.flag = value.flag;
        return out;
    case Takes::word: {
        const auto words = words_of(facts.words);
        const auto found = std::find(words.begin(), words.end(), value.text);
        if (value.kind != TomlKind::text || found == words.end()) return refuse(facts, value);
        out.word = static_cast<std::size_t>(found - words.begin());
        out.text = value.text;
        return out;
    }
    case Takes::text:
    case Takes::name:
        if (value.kind != TomlKind::text || !within(static_cast<double>(value.text.size())) || !is_one_line(value.text) ||
            (facts.takes == Takes::name && !is_plain_ascii(value.text))) {
            return refuse(facts, value);
        }
        out.text = value.text;
        return out;
    case Takes::texts:
        if (value.kind != TomlKind::array || static_cast<double>(value.items.size()) > facts.high) return refuse(facts, value);
        for (const TomlValue& item : value.items) {
            constexpr std::size_t longest = 255;
            if (item.kind != TomlKind::text || item.text.empty() || item.text.size() > longest || !is_one_line(item.text))
                return refuse(facts, item);
            out.texts.push_back(item.text);
        }
        return out;
    case Takes::key: {
        if (value.kind == TomlKind::whole && within(value.number)) {
            out.whole = static_cast<int>(value.whole);
            return out;
        }
        const auto key = value.kind == TomlKind::text ? key_of_name(value.text) : std::nullopt;
        if (!key) return refuse(facts, value);
        out.whole = key->get();
        return out;
    }
    case Takes::any:
        return out;
    }
    return out;
}

void Section::refuse_unknown(std::span<const std::string_view> known) const
{
    for (const auto& [key, value] : table_->entries) {
        if (std::find(known.begin(), known.end(), key) != known.end()) continue;
        findings_->add(value.place, full(shown(key)), "no such key", suggestion(key, known));
    }
}

std::optional<Section> Section::table(std::string_view key) const
{
    const TomlValue* value = table_->find(key);
    if (!value) return std::nullopt;
    if (value->kind == TomlKind::table) return Section{*findings_, *value, full(key)};
    complain(key, "must be a table", "write [" + full(key) + "]");
    return std::nullopt;
}

std::vector<Section> Section::tables(std::string_view key, std::size_t most) const
{
    std::vector<Section> out;
    const TomlValue* value = table_->find(key);
    if (!value) return out;
    const bool right = value->kind == TomlKind::array && std::all_of(value->items.begin(), value->items.end(),
                                                                     [](const TomlValue& item) { return item.kind == TomlKind::table; });
    if (!right) {
        complain(key, "must be tables in a row", "write [[" + full(key) + "]] before each");
        return out;
    }
    if (value->items.size() > most) {
        findings_->add(value->items[most].place, full(key), "more than " + std::to_string(most), "take the rest out");
        return out;
    }
    for (const TomlValue& item : value->items) out.emplace_back(*findings_, item, full(key));
    return out;
}

std::vector<Section> Section::one_or_more(std::string_view key, std::size_t most) const
{
    const TomlValue* value = table_->find(key);
    if (value && value->kind == TomlKind::array) return tables(key, most);
    std::vector<Section> out;
    if (auto one = table(key)) out.push_back(std::move(*one));
    return out;
}

} // namespace bowarm
