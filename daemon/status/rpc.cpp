#include "status/rpc.hpp"

#include "status/json_text.hpp"

#include <boost/json/object.hpp>
#include <boost/json/parse.hpp>
#include <exception>
#include <optional>

namespace bowarm
{
namespace json = boost::json;

namespace
{

std::string_view standard_message(int code)
{
    switch (code) {
    case rpc_code::parse_error:
        return "Parse error";
    case rpc_code::invalid_request:
        return "Invalid Request";
    case rpc_code::method_not_found:
        return "Method not found";
    case rpc_code::invalid_params:
        return "Invalid params";
    case rpc_code::internal_error:
        return "Internal error";
    case rpc_code::too_many_clients:
        return "Too many clients";
    case rpc_code::not_your_service:
        return "Not your service";
    case rpc_code::token_needed:
        return "Token needed";
    default:
        return "Not now";
    }
}

json::object error_answer(int code, std::string_view detail, const json::value& id)
{
    json::object error{{"code", code}, {"message", standard_message(code)}};
    if (!detail.empty()) error["data"] = detail;
    return {{"jsonrpc", "2.0"}, {"error", std::move(error)}, {"id", id}};
}

// Section 4: a string, a number without fraction, or null. 1.0 and what needs more than 64 bits are read as doubles.
bool is_an_id(const json::value& id) { return id.is_string() || id.is_int64() || id.is_uint64() || id.is_null(); }

struct Request {
    std::string_view method;
    const json::value* params{nullptr};
    const json::value* id{nullptr}; // null: a notification
};

// Gives the request, or the reason why it is none.
std::optional<std::string_view> read_request(const json::value& value, Request& request)
{
    const auto* object = value.if_object();
    if (object == nullptr) return "a request is an object";
    const auto* version = object->if_contains("jsonrpc");
    if (version == nullptr || !version->is_string() || version->get_string() != "2.0") return "\"jsonrpc\" must be \"2.0\"";
    request.id = object->if_contains("id");
    if (request.id != nullptr && !is_an_id(*request.id)) return "\"id\" must be a string, a whole number or null";
    const auto* method = object->if_contains("method");
    if (method == nullptr || !method->is_string()) return "\"method\" must be a string";
    request.method = method->get_string();
    request.params = object->if_contains("params");
    if (request.params != nullptr && !request.params->is_array() && !request.params->is_object())
        return "\"params\" must be an array or an object";
    return std::nullopt;
}

// The answer to one element of a batch, or to a request alone; empty for notifications.
std::optional<json::object> answer_request(const json::value& value, const Methods& methods)
{
    Request request;
    if (const auto reason = read_request(value, request)) {
        // Section 5: null where the id could not be read; the examples also give null for every invalid request.
        return error_answer(rpc_code::invalid_request, *reason, nullptr);
    }
    json::object answer;
    const json::value id = request.id != nullptr ? *request.id : json::value{};
    try {
        answer = {{"jsonrpc", "2.0"}, {"result", methods(request.method, request.params)}, {"id", id}};
    } catch (const RpcError& error) {
        answer = error_answer(error.code, error.detail, id);
    } catch (const std::exception& error) {
        answer = error_answer(rpc_code::internal_error, error.what(), id);
    }
    if (request.id == nullptr) return std::nullopt;
    return answer;
}

std::string answer_batch(const json::array& batch, const Methods& methods)
{
    if (batch.empty()) return rpc_error_line(rpc_code::invalid_request, "an empty batch");
    if (batch.size() > batch_limit)
        return rpc_error_line(rpc_code::invalid_request, "a batch holds at most " + std::to_string(batch_limit) + " requests");
    json::array answers;
    for (const auto& element : batch) {
        if (auto answer = answer_request(element, methods)) answers.emplace_back(std::move(*answer));
    }
    return answers.empty() ? std::string{} : json_text(answers);
}

} // namespace

std::string rpc_error_line(int code, std::string_view detail) { return json_text(error_answer(code, detail, nullptr)); }

std::string answer_rpc(std::string_view line, const Methods& methods)
{
    json::parse_options options;
    options.max_depth = nesting_limit;
    boost::system::error_code problem;
    const auto value = json::parse(json::string_view{line.data(), line.size()}, problem, {}, options);
    if (problem) return rpc_error_line(rpc_code::parse_error, problem.message());
    if (const auto* batch = value.if_array()) return answer_batch(*batch, methods);
    const auto answer = answer_request(value, methods);
    return answer ? json_text(*answer) : std::string{};
}

} // namespace bowarm
