// A table of keys: one row says a key's name, what it takes, its range, what holds when it is absent, and what it is for.
// The same rows read a file, check it, and know which keys do not exist.
//   thread   any.  Real-time safe: no.
//   Errors   collected as problems; reading goes on, so that a person sees all of them at once.
#pragma once

#include "studio/toml_reader.hpp"

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace bowarm
{

enum class Takes : std::uint8_t {
    number, // low..high
    whole,  // low..high, no fraction
    flag,
    word,  // one of words
    text,  // low..high bytes
    name,  // the same, but printable ASCII without a colon: port names travel through systems that take no more
    texts, // a list of at most high texts
    key,   // a key's name or its number
    any,   // a table, or what the section's own reader takes
};

struct Needed {
};
struct Absent {
};
using Fallback = std::variant<Needed, Absent, double, bool, std::string_view>;

struct KeyFacts {
    std::string_view name;
    Takes takes{Takes::any};
    double low{0}, high{0};
    std::string_view words; // "one|two"
    Fallback fallback;
    std::string_view help;
};

// The checked value; only what the row takes is filled.
struct Given {
    double number{0};
    int whole{0}; // of whole and key
    bool flag{false};
    std::size_t word{0}; // its place in words
    std::string text;
    std::vector<std::string> texts;
};

struct Complaint {
    std::string what, remedy;
};

constexpr KeyFacts number(std::string_view name, double low, double high, Fallback fallback, std::string_view help)
{
    return {name, Takes::number, low, high, {}, fallback, help};
}
constexpr KeyFacts whole(std::string_view name, double low, double high, Fallback fallback, std::string_view help)
{
    return {name, Takes::whole, low, high, {}, fallback, help};
}
constexpr KeyFacts flag(std::string_view name, Fallback fallback, std::string_view help)
{
    return {name, Takes::flag, 0, 1, {}, fallback, help};
}
constexpr KeyFacts word(std::string_view name, std::string_view words, Fallback fallback, std::string_view help)
{
    return {name, Takes::word, 0, 0, words, fallback, help};
}
constexpr KeyFacts text(std::string_view name, double longest, Fallback fallback, std::string_view help)
{
    return {name, Takes::text, 1, longest, {}, fallback, help};
}
constexpr KeyFacts port_name(std::string_view name, Fallback fallback, std::string_view help)
{
    return {name, Takes::name, 1, 31, {}, fallback, help};
}
constexpr KeyFacts texts(std::string_view name, double most, std::string_view help)
{
    return {name, Takes::texts, 0, most, {}, Absent{}, help};
}
constexpr KeyFacts key(std::string_view name, Fallback fallback, std::string_view help)
{
    return {name, Takes::key, 0, 127, {}, fallback, help};
}
constexpr KeyFacts section(std::string_view name, Fallback fallback, std::string_view help)
{
    return {name, Takes::any, 0, 0, {}, fallback, help};
}

template <class S> struct KeyRow {
    KeyFacts facts;
    void (*put)(S&, const Given&){nullptr};
    std::optional<Complaint> (*check)(S&, const Given&){nullptr}; // for what is more than a range

    constexpr KeyRow(KeyFacts f) : facts(f) {}
    constexpr KeyRow(KeyFacts f, void (*p)(S&, const Given&)) : facts(f), put(p) {}
    constexpr KeyRow(KeyFacts f, std::optional<Complaint> (*c)(S&, const Given&)) : facts(f), check(c) {}
};

// The problems of one file.
class Findings
{
public:
    Findings(const TomlFile& file, std::vector<Problem>& problems) : file_(file), problems_(problems) {}
    // The offending line is quoted from the file.
    void add(TomlPlace place, const std::string& key, const std::string& what, const std::string& remedy);
    const TomlFile& file() const { return file_; }
    std::vector<Problem>& problems() { return problems_; }

private:
    const TomlFile& file_;
    std::vector<Problem>& problems_;
};

// One table of a file, under the name it has there.
class Section
{
public:
    Section(Findings& findings, const TomlValue& table, std::string name) : findings_(&findings), table_(&table), name_(std::move(name)) {}

    // The value of a row's key, or its fallback; empty when there is nothing to put (absent, or a problem that was noted).
    std::optional<Given> read(const KeyFacts& facts) const;
    void refuse_unknown(std::span<const std::string_view> known) const;

    // Sections inside; empty when absent, or not of that shape (noted).
    std::optional<Section> table(std::string_view key) const;
    std::vector<Section> tables(std::string_view key, std::size_t most) const;
    std::vector<Section> one_or_more(std::string_view key, std::size_t most) const; // [key], or [[key]] before each

    bool has(std::string_view key) const { return table_->find(key) != nullptr; }
    void complain(std::string_view key, const std::string& what, const std::string& remedy) const; // at the key, or at the table
    void complain(const std::string& what, const std::string& remedy) const;                       // at the table

    Findings& findings() const { return *findings_; }
    const TomlValue& value() const { return *table_; }
    const std::string& name() const { return name_; }

private:
    std::string full(std::string_view key) const { return name_.empty() ? std::string{key} : name_ + "." + std::string{key}; }
    std::optional<Given> checked(const KeyFacts& facts, const TomlValue& value) const;
    std::optional<Given> refuse(const KeyFacts& facts, const TomlValue& value) const;

    Findings* findings_;
    const TomlValue* table_;
    std::string name_;
};

template <class S, std::size_t N> void read_rows(const Section& from, const KeyRow<S> (&rows)[N], S& into)
{
    std::vector<std::string_view> known;
    for (const KeyRow<S>& row : rows) {
        known.push_back(row.facts.name);
        const auto given = from.read(row.facts);
        if (!given) continue;
        if (row.put) row.put(into, *given);
        if (!row.check) continue;
        if (const auto complaint = row.check(into, *given)) from.complain(row.facts.name, complaint->what, complaint->remedy);
    }
    from.refuse_unknown(known);
}

std::vector<std::string_view> words_of(std::string_view bar_separated);

} // namespace bowarm
