// Programs at the status socket: one that follows and checks what it is told, others that ask, talk nonsense, or never read.
//   thread   one, outside of the fibers.  Errors: machine::violated for what no client should be told.
#pragma once

#include "world/machine.hpp"

#include <boost/json/value.hpp>
#include <functional>
#include <map>
#include <string>
#include <string_view>

namespace bowarm::world
{

class SocketClient
{
public:
    explicit SocketClient(const std::string& socket);
    ~SocketClient();
    SocketClient(const SocketClient&) = delete;
    SocketClient& operator=(const SocketClient&) = delete;

    bool open() const { return descriptor_ >= 0; }
    void say(std::string_view line);
    // The answer to a request comes here, at some later look().
    using Answered = std::function<void(const boost::json::value&)>;
    void ask(std::string_view method, std::string_view parameters, Answered answered = {});
    // Its events are counted from here on.
    void subscribe(std::string_view parameters);
    // Reads what there is, and checks it.
    void look();
    std::uint64_t events() const { return events_; }
    std::uint64_t unanswered() const { return waiting_.size(); }

private:
    void hear(std::string_view line);
    void hear_snapshot(const boost::json::object& told);
    void hear_event(const boost::json::object& told);

    int descriptor_;
    std::string incoming_;
    std::int64_t next_id_{1};
    std::map<std::int64_t, Answered> waiting_;
    std::int64_t event_number_{0};
    std::uint64_t events_{0};
};

} // namespace bowarm::world
