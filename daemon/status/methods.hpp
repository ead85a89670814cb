// The methods of the status socket; PROTOCOL.md says what each takes and gives.
//   thread   the service thread.  Real-time safe: no.  Errors: RpcError.
#pragma once

#include "status/rpc.hpp"
#include "status/status.hpp"

#include <boost/json/object.hpp>
#include <cstddef>
#include <string_view>

namespace bowarm
{

inline constexpr int protocol_number = 1;
inline constexpr double rate_low = 1; // snapshots a second
inline constexpr double rate_high = 100;
inline constexpr double rate_usual = 20;

// The connection behind a request, as far as a method needs it.
class Subscriber
{
public:
    virtual void subscribe(std::size_t player, double rate) = 0;
    virtual void unsubscribe() = 0;

protected:
    ~Subscriber() = default;
};

// subscriber is null where there is no connection to send snapshots to.
boost::json::value call_method(std::string_view method, const boost::json::value* params, StatusSource& source, Subscriber* subscriber);

// The line of one snapshot notification; missed: how many fell out since the last one because the client read too slowly.
std::string snapshot_line(StatusSource& source, std::size_t player, std::uint64_t missed);

boost::json::object snapshot_object(const Snapshot& snapshot);
boost::json::object service_object(const ServiceState& service);

} // namespace bowarm
