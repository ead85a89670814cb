#include "status/parameters.hpp"

#include "status/json_text.hpp"
#include "status/rpc.hpp"

#include <algorithm>
#include <boost/json/array.hpp>
#include <cmath>

namespace bowarm
{
namespace json = boost::json;

namespace
{

[[noreturn]] void refuse(std::string detail) { throw RpcError{rpc_code::invalid_params, std::move(detail)}; }

std::string quoted(std::string_view name) { return '"' + utf8_text(name.substr(0, 40)) + '"'; }

std::string listed(std::span<const std::string_view> words)
{
    std::string list;
    for (const auto& each : words) list.append(list.empty() ? "" : ", ").append(each);
    return list;
}

std::string range_of(const Parameter& row) { return json_text(json_number(row.low)) + " to " + json_text(json_number(row.high)); }

bool is_known(const Parameter& row, const json::value& value)
{
    if (!value.is_string()) return false;
    const std::string_view word{value.get_string().data(), value.get_string().size()};
    return std::find(row.known.begin(), row.known.end(), word) != row.known.end();
}

bool is_within(const Parameter& row, const json::value& value)
{
    boost::system::error_code problem;
    const double number = value.is_number() ? value.to_number<double>(problem) : std::nan("");
    return !problem && number >= row.low && number <= row.high;
}

void check(const Parameter& row, const json::value& value)
{
    const std::string name = quoted(row.name);
    switch (row.kind) {
    case ParameterKind::flag:
        if (!value.is_bool()) refuse(name + " must be true or false");
        break;
    case ParameterKind::number:
        if (!is_within(row, value)) refuse(name + " must be a number from " + range_of(row));
        break;
    case ParameterKind::whole:
        if (!value.is_int64() || !is_within(row, value)) refuse(name + " must be a whole number from " + range_of(row));
        break;
    case ParameterKind::word:
        if (!is_known(row, value)) refuse(name + " must be one of " + listed(row.known));
        break;
    case ParameterKind::words:
        if (!value.is_array() || !std::ranges::all_of(value.get_array(), [&](const json::value& each) { return is_known(row, each); }))
            refuse(name + " must be an array of some of " + listed(row.known));
        break;
    case ParameterKind::text:
        if (!value.is_string()) refuse(name + " must be a string");
        break;
    }
}

const Parameter& row_named(std::string_view name, std::span<const Parameter> rows)
{
    const auto found = std::ranges::find(rows, name, &Parameter::name);
    if (found != rows.end()) return *found;
    std::string list;
    for (const Parameter& row : rows) list.append(list.empty() ? "" : ", ").append(row.name);
    refuse("unknown parameter " + quoted(name) + "; " + (list.empty() ? "this method takes none" : "this method takes " + list));
}

} // namespace

Given::Given(const json::value* params, std::span<const Parameter> rows)
{
    if (params != nullptr && params->is_array() && !params->get_array().empty()) refuse("parameters are given by name: {\"rate\": 20}");
    if (params != nullptr) object_ = params->if_object();
    if (object_ != nullptr)
        for (const auto& member : *object_) check(row_named(member.key(), rows), member.value());
    for (const Parameter& row : rows)
        if (row.needed && find(row.name) == nullptr) refuse(quoted(row.name) + " is needed: " + std::string{row.meaning});
}

const json::value* Given::find(std::string_view name) const { return object_ == nullptr ? nullptr : object_->if_contains(name); }

bool Given::flag(std::string_view name, bool otherwise) const
{
    const auto* value = find(name);
    return value == nullptr ? otherwise : value->get_bool();
}

std::optional<double> Given::number(std::string_view name) const
{
    const auto* value = find(name);
    if (value == nullptr) return std::nullopt;
    return value->to_number<double>();
}

std::optional<std::int64_t> Given::whole(std::string_view name) const
{
    const auto* value = find(name);
    if (value == nullptr) return std::nullopt;
    return value->get_int64();
}

std::optional<std::string_view> Given::text(std::string_view name) const
{
    const auto* value = find(name);
    if (value == nullptr) return std::nullopt;
    return std::string_view{value->get_string().data(), value->get_string().size()};
}

json::object schema_of(const Parameter& row)
{
    json::array words;
    for (const auto& word : row.known) words.emplace_back(word);
    switch (row.kind) {
    case ParameterKind::flag:
        return {{"type", "boolean"}};
    case ParameterKind::number:
        return {{"type", "number"}, {"minimum", row.low}, {"maximum", row.high}};
    case ParameterKind::whole:
        return {{"type", "integer"}, {"minimum", row.low}, {"maximum", row.high}};
    case ParameterKind::word:
        return {{"type", "string"}, {"enum", std::move(words)}};
    case ParameterKind::words:
        return {{"type", "array"}, {"items", json::object{{"type", "string"}, {"enum", std::move(words)}}}};
    case ParameterKind::text:
        break;
    }
    return {{"type", "string"}};
}

} // namespace bowarm
