// Snapshots and events for everybody who subscribed, with one timer that runs only while somebody does.
//   A snapshot is put into words once, however many clients are due.
//   thread   the service thread.  Real-time safe: no.  Errors: none.
#pragma once

#include "status/events.hpp"
#include "status/methods.hpp"

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

namespace bowarm
{

// Who gets them.
class Listener
{
public:
    virtual const Subscription& subscription() const = 0;
    // A snapshot is due; line(missed) puts it into words.
    virtual void snapshot_due(const std::function<std::string(std::uint64_t)>& line) = 0;
    virtual void event_happened(const Event& event) = 0;
    // So many events of all kinds were left out before this one.
    virtual void events_lost(std::uint64_t count) = 0;

protected:
    ~Listener() = default;
};

class Broadcast : public std::enable_shared_from_this<Broadcast>
{
public:
    Broadcast(boost::asio::io_context& io, StatusSource& source) : timer_(io), source_(source) {}

    // Listens from now on, or changed its subscription.  A listener neither joins nor leaves while it is being told.
    void join(Listener& listener);
    void leave(Listener& listener);
    // The source may go.
    void close();

private:
    using Clock = std::chrono::steady_clock;
    struct Place {
        Listener* listener{nullptr};
        Clock::time_point due; // of its next snapshot; max: none
    };

    void plan();
    void tick();
    void tell_snapshots(Clock::time_point now);
    void tell_events(Clock::time_point now);
    void tell(const std::vector<Event>& events);
    std::string line_for(std::size_t player, std::uint64_t missed);
    bool anybody_wants_events() const;

    boost::asio::steady_timer timer_;
    StatusSource& source_;
    std::vector<Place> places_;
    bool closed_{false};
    bool facts_wanted_{false};
    FactReader facts_;
    StateReader states_;
    Clock::time_point look_at_facts_{Clock::time_point::max()};
    Clock::time_point look_at_states_{};
    std::vector<std::pair<std::size_t, std::string>> lines_; // of this tick, a player each
};

} // namespace bowarm
