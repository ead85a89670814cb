// The methods of the status socket, from one table that also gives their machine-readable description.
//   thread   the service thread.  Real-time safe: no.  Errors: RpcError.
//   source   OpenRPC Specification 1.2.6 (spec.open-rpc.org) for what rpc.discover answers.
#pragma once

#include "status/events.hpp"
#include "status/rpc.hpp"
#include "status/status.hpp"

#include <boost/json/object.hpp>
#include <cstddef>
#include <optional>
#include <string_view>

namespace bowarm
{

inline constexpr int protocol_number = 1;
inline constexpr double rate_low = 1; // snapshots a second
inline constexpr double rate_high = 100;
inline constexpr double rate_usual = 20;

struct Subscription {
    std::size_t player{0};
    std::optional<double> rate; // snapshots a second; empty: none
    EventKinds events;          // of every player
};

// The connection behind a request, as far as a method needs it.
class Subscriber
{
public:
    virtual void subscribe(const Subscription& wish) = 0;
    virtual void unsubscribe() = 0;
    // False: not the token.
    virtual bool authenticate(std::string_view token) = 0;

protected:
    ~Subscriber() = default;
};

// subscriber is null where there is no connection to send snapshots to.
boost::json::value call_method(std::string_view method, const boost::json::value* params, StatusSource& source, Subscriber* subscriber);

// The OpenRPC document.
boost::json::object discovery(std::string_view version);

// The line of one snapshot notification; missed: how many fell out since the last one because the client read too slowly.
std::string snapshot_line(StatusSource& source, std::size_t player, std::uint64_t missed);

boost::json::object snapshot_object(const Snapshot& snapshot);
boost::json::object snapshot_schema(); // JSON Schema of the same
boost::json::object service_object(const ServiceState& service);
boost::json::object port_object(const PortState& port);
boost::json::array ports_array(const ServiceState& service);
// For a screen that is read from afar; the report has the long sentence, with its number.
std::string_view short_warning(Warning warning, Unplayable unplayable);

} // namespace bowarm
