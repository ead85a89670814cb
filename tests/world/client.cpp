#include "world/client.hpp"

#include <boost/json/parse.hpp>

#include <array>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

namespace bowarm::world
{
namespace
{

namespace json = boost::json;

double number(const json::object& told, const char* name)
{
    const json::value* value = told.if_contains(name);
    return value == nullptr || !value->is_number() ? std::nan("") : value->to_number<double>();
}

void within(const json::object& told, const char* name, double low, double high)
{
    const double value = number(told, name);
    if (!(value >= low && value <= high)) machine::violated(std::string{"a client is told "} + name + " out of its range");
}

} // namespace

SocketClient::SocketClient(const std::string& socket) : descriptor_(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0))
{
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::memcpy(address.sun_path, socket.c_str(), socket.size() + 1);
    if (::connect(descriptor_, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) ::close(std::exchange(descriptor_, -1));
    machine::touch_sockets();
}

SocketClient::~SocketClient()
{
    if (descriptor_ >= 0) ::close(descriptor_);
    machine::touch_sockets();
}

void SocketClient::say(std::string_view line)
{
    if (descriptor_ < 0) return;
    const std::string whole = std::string{line} + "\n";
    [[maybe_unused]] const auto sent = ::send(descriptor_, whole.data(), whole.size(), MSG_NOSIGNAL);
    machine::touch_sockets();
}

void SocketClient::ask(std::string_view method, std::string_view parameters, Answered answered)
{
    const std::int64_t id = next_id_++;
    waiting_[id] = std::move(answered);
    say("{\"jsonrpc\":\"2.0\",\"id\":" + std::to_string(id) + ",\"method\":\"" + std::string{method} + "\"" +
        (parameters.empty() ? std::string{} : ",\"params\":" + std::string{parameters}) + "}");
}

void SocketClient::subscribe(std::string_view parameters)
{
    ask("subscribe", parameters, [this](const json::value&) { event_number_ = 0; });
}

void SocketClient::look()
{
    std::array<char, 65536> block;
    while (descriptor_ >= 0) {
        const ssize_t got = ::recv(descriptor_, block.data(), block.size(), 0);
        if (got < 0 && errno == EAGAIN) break;
        if (got <= 0) {
            ::close(std::exchange(descriptor_, -1));
            break;
        }
        incoming_.append(block.data(), static_cast<std::size_t>(got));
        machine::touch_sockets();
    }
    std::size_t from = 0;
    for (std::size_t end = incoming_.find('\n'); end != std::string::npos; end = incoming_.find('\n', from)) {
        hear(std::string_view{incoming_}.substr(from, end - from));
        from = end + 1;
    }
    incoming_.erase(0, from);
}

void SocketClient::hear(std::string_view line)
{
    boost::system::error_code trouble;
    const json::value told = json::parse(line, trouble);
    if (trouble || !told.is_object()) return machine::violated("a client is told what is no JSON object");
    const json::object& object = told.as_object();
    if (const json::value* method = object.if_contains("method")) {
        if (*method == "snapshot") hear_snapshot(object.at("params").as_object());
        if (*method == "event") hear_event(object.at("params").as_object());
        return;
    }
    const json::value* id = object.if_contains("id");
    if (id == nullptr || !id->is_int64()) return; // of a line that was not understood
    const auto waiting = waiting_.find(id->as_int64());
    if (waiting == waiting_.end()) return machine::violated("a client is answered what it has not asked");
    const Answered answered = std::move(waiting->second);
    waiting_.erase(waiting);
    if (answered) answered(told);
}

void SocketClient::hear_snapshot(const json::object& told)
{
    within(told, "hair", 0, 1);
    within(told, "amount", 0, 1);
    within(told, "loudness", 0, 1);
    within(told, "speed_m_s", 0, 10);
    within(told, "force_n", 0, 30);
    within(told, "beta", 0, 1);
    within(told, "confidence", 0, 1);
}

void SocketClient::hear_event(const json::object& told)
{
    ++events_;
    const auto count = told.at("number").to_number<std::int64_t>(), missed = told.at("missed").to_number<std::int64_t>();
    if (count != event_number_ + 1 + missed) machine::violated("events are missing and nobody says so");
    event_number_ = count;
    if (told.at("event") == "stroke") within(told, "hair", 0, 1);
}

} // namespace bowarm::world
