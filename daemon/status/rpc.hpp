// JSON-RPC 2.0: requests, notifications, batches and errors, without knowing any method.
//   in       one line, one JSON text; at most line_limit bytes
//   out      one line without its LF; empty where the standard wants no answer at all
//   thread   any; the methods decide.  Real-time safe: no.  Errors: become JSON-RPC errors.
//   source   JSON-RPC 2.0 Specification, 2013-01-04 (jsonrpc.org/specification).
#pragma once

#include <boost/json/value.hpp>
#include <cstddef>
#include <functional>
#include <string>
#include <string_view>

namespace bowarm
{

inline constexpr std::size_t line_limit = 64 * 1024;
inline constexpr std::size_t nesting_limit = 32;
inline constexpr std::size_t batch_limit = 100;

// Codes of section 5.1; -32000 to -32099 are ours.
namespace rpc_code
{
inline constexpr int parse_error = -32700;
inline constexpr int invalid_request = -32600;
inline constexpr int method_not_found = -32601;
inline constexpr int invalid_params = -32602;
inline constexpr int internal_error = -32603;
inline constexpr int not_now = -32000; // right, but it cannot be done at this moment
inline constexpr int too_many_clients = -32001;
inline constexpr int not_your_service = -32002; // the peer belongs to somebody else
inline constexpr int token_needed = -32003;     // over TCP: not said, or wrong
} // namespace rpc_code

// What a method throws: a code and one clear sentence.
struct RpcError {
    int code;
    std::string detail;
};

// params is null where the request has none, else an array or an object.
using Methods = std::function<boost::json::value(std::string_view method, const boost::json::value* params)>;

std::string answer_rpc(std::string_view line, const Methods& methods);

// An error with id null, for trouble that belongs to no request.
std::string rpc_error_line(int code, std::string_view detail);

} // namespace bowarm
