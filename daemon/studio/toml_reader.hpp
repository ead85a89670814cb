// A TOML text as a plain tree with places, read so that no text can take the service down.
//   in       a file of at most 256 KiB, UTF-8, nested at most 16 deep
//   out      tables in the order of their lines, every value with its line and column (from 1; columns count bytes)
//   thread   any.  Real-time safe: no.
//   Errors   problems with places; the library that reads TOML is known to crash on some texts, so a child process reads first.
//   source   TOML 1.0.0 (toml.io)
#pragma once

#include "studio/problem.hpp"

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

namespace bowarm
{

inline constexpr std::size_t toml_bytes_at_most = 256 * 1024;

struct TomlPlace {
    std::size_t line{0}; // 0: none of its own
    std::size_t column{0};
};

enum class TomlKind : std::uint8_t { flag, whole, number, text, array, table, date };

struct TomlValue {
    TomlKind kind{TomlKind::table};
    TomlPlace place;
    bool flag{false};
    std::int64_t whole{0};
    double number{0};
    std::string text;
    std::vector<TomlValue> items;                           // of an array
    std::vector<std::pair<std::string, TomlValue>> entries; // of a table

    // Out of line: inside, clang would need the class to be whole before it is.
    TomlValue();
    ~TomlValue();
    TomlValue(const TomlValue&);
    TomlValue(TomlValue&&) noexcept;
    TomlValue& operator=(const TomlValue&);
    TomlValue& operator=(TomlValue&&) noexcept;

    const TomlValue* find(std::string_view key) const;
};

struct TomlFile {
    std::filesystem::path path;
    std::string text;
    TomlValue root;

    std::string where(TomlPlace place) const;        // file:line:column
    std::string_view line(std::size_t number) const; // without blanks at its ends; empty when there is none
};

using TomlRead = std::variant<TomlFile, Problem>;

TomlRead read_toml_file(const std::filesystem::path& path);
// The same of a text at hand; the path is for messages.
TomlRead read_toml_text(const std::filesystem::path& path, std::string text);

// The first thing in the bytes that the library must not see; empty when there is none.
std::optional<Problem> byte_problem(const std::filesystem::path& path, std::string_view text);

} // namespace bowarm
