// Parameters of a method as rows: one row checks what came, and describes it for rpc.discover.
//   thread   any, pure.  Real-time safe: no.  Errors: RpcError -32602 with one clear sentence.
#pragma once

#include <boost/json/object.hpp>
#include <boost/json/value.hpp>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace bowarm
{

enum class ParameterKind : std::uint8_t { flag, number, whole, word, words, text };

struct Parameter {
    std::string_view name;
    ParameterKind kind;
    bool needed;
    std::string_view meaning;
    double low{0}, high{0};                    // number, whole
    std::span<const std::string_view> known{}; // word, words
};

// What came, all of it known and within its range.
class Given
{
public:
    // params: null, an object, or an empty array; a mistyped name must not be passed over in silence.
    Given(const boost::json::value* params, std::span<const Parameter> rows);

    bool has(std::string_view name) const { return find(name) != nullptr; }
    bool flag(std::string_view name, bool otherwise) const;
    std::optional<double> number(std::string_view name) const;
    std::optional<std::int64_t> whole(std::string_view name) const;
    std::optional<std::string_view> text(std::string_view name) const;
    const boost::json::value* find(std::string_view name) const;

private:
    const boost::json::object* object_{nullptr};
};

// JSON Schema of what the row takes.
boost::json::object schema_of(const Parameter& row);

} // namespace bowarm
