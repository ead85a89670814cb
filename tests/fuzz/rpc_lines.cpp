// Any lines at the status socket: each gives no answer, or one line that is JSON and a JSON-RPC 2.0 answer.
//   source   JSON-RPC 2.0 Specification (jsonrpc.org), section 5: jsonrpc, id, and either result or error.
#include "fuzz.hpp"

#include "status/events.hpp"
#include "status/fake_source.hpp"
#include "status/json_text.hpp"
#include "status/methods.hpp"
#include "status/rpc.hpp"

#include <boost/json/parse.hpp>

using namespace bowarm;
using fuzz::require;

namespace
{

class Someone final : public Subscriber
{
public:
    void subscribe(const Subscription& wish) override
    {
        require(!wish.rate || (*wish.rate >= rate_low && *wish.rate <= rate_high), "a rate is in its range");
        require(wish.player == 0, "a subscribed player is there");
    }
    void unsubscribe() override {}
    bool authenticate(std::string_view token) override { return token.empty(); }
};

void check_one(const boost::json::value& answer)
{
    const auto* object = answer.if_object();
    require(object != nullptr && object->contains("jsonrpc") && object->contains("id"), "an answer is an object with jsonrpc and id");
    require(object->contains("result") != object->contains("error"), "an answer has a result or an error, not both");
}

void check_answer(std::string_view line)
{
    if (line.empty()) return;
    require(line.find('\n') == std::string_view::npos, "an answer is one line");
    boost::system::error_code problem;
    const auto answer = boost::json::parse({line.data(), line.size()}, problem);
    require(!problem, "an answer is JSON");
    if (const auto* batch = answer.if_array())
        for (const auto& one : *batch) check_one(one);
    else
        check_one(answer);
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    test::FakeSource source;
    Someone someone;
    const Methods methods = [&](std::string_view method, const boost::json::value* params) {
        return call_method(method, params, source, &someone);
    };
    std::string_view left = fuzz::text_of({data, size});
    while (!left.empty()) {
        const std::size_t end = std::min(left.find('\n'), left.size());
        const std::string_view line = left.substr(0, end);
        left.remove_prefix(std::min(end + 1, left.size()));
        if (line.size() > line_limit) continue; // refused before it is read
        check_answer(answer_rpc(line, methods));
        boost::system::error_code problem;
        boost::json::parse(json_text(boost::json::string{utf8_text(line)}), problem);
        require(!problem, "any bytes as text are JSON");
    }
    return 0;
}
