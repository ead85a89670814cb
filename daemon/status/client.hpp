// One connection to the status socket.
//   thread   the service thread.  Real-time safe: no.  Errors: none; a broken connection is closed.
//   Memory is bounded: one line coming in, owed_limit and one answer going out.  While a client owes that much nothing
//   more is read from it; when it does not take it within its patience it is cut.  Snapshots are never queued: a fresh one is
//   made when the last has left, and those between are counted as missed.  So are events that find no room.
#pragma once

#include "status/broadcast.hpp"
#include "status/methods.hpp"

#include <array>
#include <boost/asio/generic/stream_protocol.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>

namespace bowarm
{

inline constexpr std::size_t owed_limit = 256 * 1024;

struct ClientTimes {
    std::chrono::milliseconds patience{10'000}; // for the client to take what it is owed
    std::chrono::milliseconds farewell{1'000};  // after a last word, for the peer to read it
};

inline constexpr int lines_before_token_at_most = 3;

class Client final : public Subscriber, public Listener, public std::enable_shared_from_this<Client>
{
public:
    using Socket = boost::asio::generic::stream_protocol::socket;
    using Gone = std::function<void(Client&)>;

    // gone is called once, unless close() came first; the source must live until then.
    Client(Socket socket, StatusSource& source, std::shared_ptr<Broadcast> broadcast, ClientTimes times, Gone gone);
    virtual ~Client() = default;

    void start();
    // Answers nothing until it has been told the token, and waits for that no longer than its patience.
    void start_locked(std::string token);
    void close();
    // Says why and ends the connection once that is sent.
    void turn_away(int code, std::string_view reason);

    void subscribe(const Subscription& wish) override;
    void unsubscribe() override;
    bool authenticate(std::string_view token) override;

    const Subscription& subscription() const override { return subscription_; }
    void snapshot_due(const std::function<std::string(std::uint64_t)>& line) override;
    void event_happened(const Event& event) override;
    void events_lost(std::uint64_t count) override;

private:
    void read();
    void receive();
    void received(std::size_t size);
    bool take_line();
    void answer(std::string_view line);
    bool owes_too_much() const;
    void say(const std::string& line);
    void write();
    void written();
    void late_snapshot();
    void wait_for_token();
    void hang_up();
    void leave();

    Socket socket_;
    StatusSource& source_;
    std::shared_ptr<Broadcast> broadcast_;
    ClientTimes times_;
    Gone gone_;
    boost::asio::steady_timer patience_timer_;

    std::array<char, 8192> chunk_{};
    std::string incoming_; // not yet a whole line, or lines not yet answered
    std::string outgoing_; // being written
    std::string queued_;   // to be written next
    bool reading_{false};
    bool writing_{false};
    bool ending_{false}; // no more requests; close once everything is written
    bool closed_{false};

    bool locked_{false};
    std::string token_;
    int lines_before_token_{0};

    Subscription subscription_;
    bool snapshot_due_{false};
    std::uint64_t missed_{0};        // snapshots since the last one sent
    std::uint64_t event_number_{0};  // of the last event, sent or missed
    std::uint64_t events_missed_{0}; // since the last one sent
};

} // namespace bowarm
