// Words for the service manager that started us; silence where there is none.
//   thread   the service.  Real-time safe: no.  Errors: none: a word that cannot be sent is left unsaid.
//   source   sd_notify(3): READY=1, STATUS=, RELOADING=1 with MONOTONIC_USEC=, STOPPING=1, WATCHDOG=1, sent as one datagram to
//            the Unix socket in $NOTIFY_SOCKET, a path or, after @, an abstract name; sd_watchdog_enabled(3): $WATCHDOG_USEC and
//            $WATCHDOG_PID, and half of the time between two signs of life.
#pragma once

#include "base/time.hpp"

#include <optional>
#include <string>
#include <string_view>

namespace bowarm
{

class Notify
{
public:
    Notify(); // reads the environment

    void ready(std::string_view status) const;
    void status(std::string_view status) const;
    void reloading() const;
    void stopping(std::string_view status) const;
    void alive() const; // feeds the watchdog

    // How often alive() is to be said; empty: nobody watches.
    std::optional<Duration> alive_every() const { return alive_every_; }

private:
    void say(const std::string& lines) const;

    std::string socket_; // empty: nobody listens
    std::optional<Duration> alive_every_;
};

} // namespace bowarm
