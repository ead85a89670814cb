// Every example of the JSON-RPC 2.0 Specification (2013-01-04), section 7, word for word, against methods that do what the
// examples assume; then what the standard's other sections and RFC 8259 ask of an odd line.
#include "status/rpc.hpp"

#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <boost/json/parse.hpp>
#include <doctest/doctest.h>
#include <string>

using namespace bowarm;
namespace json = boost::json;

namespace
{

std::int64_t number(const json::value& params, std::size_t index, std::string_view name)
{
    return params.is_array() ? params.get_array().at(index).as_int64() : params.get_object().at(name).as_int64();
}

json::value method_of_the_specification(std::string_view method, const json::value* params)
{
    if (method == "subtract") return number(*params, 0, "minuend") - number(*params, 1, "subtrahend");
    if (method == "sum") {
        std::int64_t sum = 0;
        for (const auto& each : params->as_array()) sum += each.as_int64();
        return sum;
    }
    if (method == "get_data") return json::array{"hello", 5};
    if (method == "update" || method == "notify_hello" || method == "notify_sum") return nullptr;
    throw RpcError{rpc_code::method_not_found, ""};
}

std::string ask(std::string_view line) { return answer_rpc(line, method_of_the_specification); }

struct Example {
    const char* why;
    const char* sent;
    const char* expected; // as the specification prints it; empty: nothing comes back
};

// The specification prints line breaks inside requests; our framing has none, so they are spaces here.
constexpr Example examples[] = {
    {"positional parameters", R"({"jsonrpc": "2.0", "method": "subtract", "params": [42, 23], "id": 1})",
     R"({"jsonrpc": "2.0", "result": 19, "id": 1})"},
    {"positional parameters, turned round", R"({"jsonrpc": "2.0", "method": "subtract", "params": [23, 42], "id": 2})",
     R"({"jsonrpc": "2.0", "result": -19, "id": 2})"},
    {"named parameters", R"({"jsonrpc": "2.0", "method": "subtract", "params": {"subtrahend": 23, "minuend": 42}, "id": 3})",
     R"({"jsonrpc": "2.0", "result": 19, "id": 3})"},
    {"named parameters, turned round", R"({"jsonrpc": "2.0", "method": "subtract", "params": {"minuend": 42, "subtrahend": 23}, "id": 4})",
     R"({"jsonrpc": "2.0", "result": 19, "id": 4})"},
    {"a notification", R"({"jsonrpc": "2.0", "method": "update", "params": [1,2,3,4,5]})", ""},
    {"a notification of a method that does not exist", R"({"jsonrpc": "2.0", "method": "foobar"})", ""},
    {"a method that does not exist", R"({"jsonrpc": "2.0", "method": "foobar", "id": "1"})",
     R"({"jsonrpc": "2.0", "error": {"code": -32601, "message": "Method not found"}, "id": "1"})"},
    {"invalid JSON", R"({"jsonrpc": "2.0", "method": "foobar, "params": "bar", "baz])",
     R"({"jsonrpc": "2.0", "error": {"code": -32700, "message": "Parse error"}, "id": null})"},
    {"an invalid request", R"({"jsonrpc": "2.0", "method": 1, "params": "bar"})",
     R"({"jsonrpc": "2.0", "error": {"code": -32600, "message": "Invalid Request"}, "id": null})"},
    {"a batch of invalid JSON", R"([ {"jsonrpc": "2.0", "method": "sum", "params": [1,2,4], "id": "1"}, {"jsonrpc": "2.0", "method" ])",
     R"({"jsonrpc": "2.0", "error": {"code": -32700, "message": "Parse error"}, "id": null})"},
    {"an empty array", "[]", R"({"jsonrpc": "2.0", "error": {"code": -32600, "message": "Invalid Request"}, "id": null})"},
    {"an invalid batch that is not empty", "[1]",
     R"([{"jsonrpc": "2.0", "error": {"code": -32600, "message": "Invalid Request"}, "id": null}])"},
    {"an invalid batch", "[1,2,3]",
     R"([{"jsonrpc": "2.0", "error": {"code": -32600, "message": "Invalid Request"}, "id": null},
         {"jsonrpc": "2.0", "error": {"code": -32600, "message": "Invalid Request"}, "id": null},
         {"jsonrpc": "2.0", "error": {"code": -32600, "message": "Invalid Request"}, "id": null}])"},
    {"a batch",
     R"([ {"jsonrpc": "2.0", "method": "sum", "params": [1,2,4], "id": "1"},
          {"jsonrpc": "2.0", "method": "notify_hello", "params": [7]},
          {"jsonrpc": "2.0", "method": "subtract", "params": [42,23], "id": "2"},
          {"foo": "boo"},
          {"jsonrpc": "2.0", "method": "foo.get", "params": {"name": "myself"}, "id": "5"},
          {"jsonrpc": "2.0", "method": "get_data", "id": "9"} ])",
     R"([ {"jsonrpc": "2.0", "result": 7, "id": "1"},
          {"jsonrpc": "2.0", "result": 19, "id": "2"},
          {"jsonrpc": "2.0", "error": {"code": -32600, "message": "Invalid Request"}, "id": null},
          {"jsonrpc": "2.0", "error": {"code": -32601, "message": "Method not found"}, "id": "5"},
          {"jsonrpc": "2.0", "result": ["hello", 5], "id": "9"} ])"},
    {"a batch of notifications",
     R"([ {"jsonrpc": "2.0", "method": "notify_sum", "params": [1,2,4]}, {"jsonrpc": "2.0", "method": "notify_hello", "params": [7]} ])",
     ""},
};

// "data" is optional (section 5.1) and the examples have none.
void drop_data(json::value& answer)
{
    if (auto* array = answer.if_array()) {
        for (auto& each : *array) drop_data(each);
    } else if (auto* object = answer.if_object()) {
        if (auto* error = object->if_contains("error")) error->as_object().erase("data");
    }
}

int error_code_of(const std::string& answer)
{
    const auto value = json::parse(answer);
    CHECK(value.as_object().at("jsonrpc").as_string() == "2.0");
    CHECK(value.as_object().if_contains("result") == nullptr); // section 5: exactly one of the two
    return static_cast<int>(value.as_object().at("error").as_object().at("code").as_int64());
}

} // namespace

TEST_CASE("the examples of the JSON-RPC specification come out as printed")
{
    for (const auto& example : examples) {
        CAPTURE(example.why);
        const auto answer = ask(example.sent);
        if (*example.expected == '\0') {
            CHECK(answer.empty());
            continue;
        }
        auto value = json::parse(answer);
        drop_data(value);
        CHECK(value == json::parse(example.expected));
        CHECK(answer.find('\n') == std::string::npos);
    }
}

TEST_CASE("a request that the standard forbids is an invalid request with id null")
{
    constexpr const char* requests[] = {
        R"({"method": "sum", "params": [1], "id": 1})",                                      // section 4: jsonrpc MUST be there
        R"({"jsonrpc": "1.0", "method": "sum", "params": [1], "id": 1})",                    // MUST be exactly "2.0"
        R"({"jsonrpc": 2.0, "method": "sum", "params": [1], "id": 1})",                      // a string
        R"({"jsonrpc": "2.0", "id": 1})",                                                    // no method
        R"({"jsonrpc": "2.0", "method": "sum", "params": 7, "id": 1})",                      // section 4.2: a structured value
        R"({"jsonrpc": "2.0", "method": "sum", "params": null, "id": 1})",                   // section 4.2
        R"({"jsonrpc": "2.0", "method": "sum", "params": [1], "id": {}})",                   // section 4: String, Number or NULL
        R"({"jsonrpc": "2.0", "method": "sum", "params": [1], "id": [1]})",                  //
        R"({"jsonrpc": "2.0", "method": "sum", "params": [1], "id": true})",                 //
        R"({"jsonrpc": "2.0", "method": "sum", "params": [1], "id": 1.5})",                  // SHOULD NOT contain fractional parts
        R"({"jsonrpc": "2.0", "method": "sum", "params": [1], "id": 1e400})",                // no number at all once it is read
        R"({"jsonrpc": "2.0", "method": "sum", "params": [1], "id": 99999999999999999999})", // could not be given back unchanged
        R"("sum")",
        "7",
        "null",
    };
    for (const auto* request : requests) {
        CAPTURE(request);
        const auto answer = ask(request);
        CHECK(error_code_of(answer) == -32600);
        CHECK(json::parse(answer).as_object().at("id").is_null());
    }
}

TEST_CASE("an id comes back as it was")
{
    for (const auto* id : {"0", "-7", "9223372036854775807", "18446744073709551615", R"("a \"word\" \u00e9 \u0000")", R"("")", "null"}) {
        CAPTURE(id);
        const auto answer = ask(std::string{R"({"jsonrpc": "2.0", "method": "sum", "params": [1, 2], "id": )"} + id + "}");
        CHECK(json::parse(answer).as_object().at("id") == json::parse(id));
        CHECK(json::parse(answer).as_object().at("result") == 3);
    }
}

TEST_CASE("text that is no JSON is a parse error")
{
    const std::string lines[] = {
        "",
        " ",
        "{",
        "}",
        "[",
        "[1,]",
        "{\"a\":}",
        "{'a':1}",
        "nul",
        "01",
        "1.",
        "+1",
        "NaN",
        "Infinity",
        "\"\\x\"",
        "\"\t\"",
        "{\"a\":1} {\"a\":1}", // two texts in a line
        "\xEF\xBB\xBF{}",      // RFC 8259, section 8.1: no byte order mark
        "\"\xFF\"",            // section 8.1: UTF-8
        "\"\xC0\x80\"",        // overlong
        "\"\xED\xA0\x80\"",    // a surrogate
        std::string("\0", 1),
        "/* a comment */ {}",
    };
    for (const auto& line : lines) {
        CAPTURE(line);
        CHECK(error_code_of(ask(line)) == -32700);
    }
}

TEST_CASE("nesting beyond 32 is refused and 32 is read")
{
    const auto nested = [](std::size_t depth) {
        // The request itself is one level, its params the next.
        return R"({"jsonrpc":"2.0","method":"update","id":1,"params":)" + std::string(depth - 1, '[') + std::string(depth - 1, ']') + "}";
    };
    CHECK(json::parse(ask(nested(32))).as_object().at("result").is_null());
    CHECK(error_code_of(ask(nested(33))) == -32700);
    CHECK(error_code_of(ask(std::string(60'000, '['))) == -32700);
    CHECK(error_code_of(ask(std::string(60'000, '{'))) == -32700);
}

TEST_CASE("a batch of more than a hundred requests is refused whole")
{
    std::string batch = "[1";
    for (int i = 1; i < 100; ++i) batch += ",1";
    CHECK(json::parse(ask(batch + "]")).as_array().size() == 100);
    CHECK(error_code_of(ask(batch + ",1]")) == -32600);
}

TEST_CASE("a method that fails is an internal error and the line is still answered")
{
    const auto answer = answer_rpc(R"({"jsonrpc":"2.0","method":"x","id":5})",
                                   [](std::string_view, const json::value*) -> json::value { throw std::runtime_error{"broken"}; });
    CHECK(error_code_of(answer) == -32603);
    CHECK(json::parse(answer).as_object().at("id") == 5);
}
