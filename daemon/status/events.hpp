// What happens, told as it happens: notes, strokes, warnings, ports and takes as events of the status socket.
//   thread   the service thread.  Real-time safe: no.  Errors: none.
#pragma once

#include "status/status.hpp"

#include <array>
#include <boost/json/object.hpp>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace bowarm
{

enum class EventKind : std::uint8_t { note, stroke, technique, bow_change, retake, warning, port, take };
inline constexpr std::array<std::string_view, 8> event_words{"note",   "stroke",  "technique", "bow-change",
                                                             "retake", "warning", "port",      "take"};

// A set of kinds.
class EventKinds
{
public:
    void add(EventKind kind) { bits_ = static_cast<std::uint8_t>(bits_ | 1U << static_cast<unsigned>(kind)); }
    bool has(EventKind kind) const { return (bits_ >> static_cast<unsigned>(kind) & 1U) != 0; }
    bool none() const { return bits_ == 0; }

private:
    std::uint8_t bits_{0};
};

struct Event {
    EventKind kind{EventKind::note};
    boost::json::object fields; // without number and missed, which each connection counts for itself
};

// Makes events of a player's facts; remembers the last stroke of each player, to tell a change from what stays.
class FactReader
{
public:
    std::vector<Event> read(const PlayerFact& fact);

private:
    struct Last {
        std::optional<Technique> technique;
        std::optional<Direction> direction;
    };
    std::vector<Last> last_;
};

// Finds what changed among the ports, and the take that runs.
class StateReader
{
public:
    // The first call tells nothing: it is what a client can ask for.
    std::vector<Event> read(StatusSource& source);

private:
    bool begun_{false};
    std::vector<PortState> ports_;
    std::string take_;
};

} // namespace bowarm
