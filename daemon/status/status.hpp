// JSON-RPC 2.0 over a Unix-domain socket, and over loopback TCP where that is wished; one message a line; protocol in PROTOCOL.md.
//   thread   the service thread that runs the io_context.  Real-time safe: no.
//   A slow or silent client costs a bounded amount of memory and never a moment of the engine.
#pragma once

#include "hear/input.hpp"
#include "player/player.hpp"

#include <cstddef>
#include <cstdint>
#include <exception>
#include <filesystem>
#include <memory>
#include <string>
#include <string_view>
#include <system_error>
#include <vector>

// Named only: Asio's headers cost each file that includes them seconds of compiling.
namespace boost::asio
{
class io_context;
}

namespace bowarm
{

// What the running service says of itself.
struct PortState {
    std::string role;                   // "in", "out"
    std::string name;                   // as configured
    std::string state;                  // "open", "waiting", "lost", "stalled", "cut"
    std::vector<std::string> connected; // names of what it is connected to
    std::uint64_t messages{0};
    std::uint64_t dropped{0};
    std::string note; // what a person should know; empty: nothing
};
struct ServiceState {
    std::string midi_system; // "jack", "alsa", "none", ...
    std::string version;
    double running_s{0};
    std::string take_folder;  // empty: takes are not kept
    std::string take_problem; // empty: none
    std::vector<PortState> ports;
    std::uint64_t inputs{0}, lost_inputs{0};
    std::int64_t latest_wake_ns{0}; // how late the engine's worst wake was
    std::size_t under_hands{0};     // which player the keys go to, of those that can be chosen
};

// Something a player did, for those who follow it.
struct PlayerFact {
    std::size_t player{0};
    Fact fact;
};

struct TakeEntry {
    std::string name; // its files are NAME.mid, NAME-played.mid and NAME.json
    std::uint64_t bytes{0};
};

// Keeping what is played, as clients ask for it; every call comes on the service thread and comes back at once.
class TakeDesk
{
public:
    virtual void start() = 0;                  // what is played from now on is a take of its own
    virtual void stop() = 0;                   // the take ends now; the next note begins another
    virtual void hear() = 0;                   // the last take is heard again
    virtual std::string running() = 0;         // the name; empty: none
    virtual std::vector<TakeEntry> list() = 0; // newest first

protected:
    ~TakeDesk() = default;
};

// How a setup stands: the questions of `bowarmd setup`, one after the other.
struct SetupState {
    bool running{false};
    bool waiting{false};           // for an answer
    std::string heard;             // what was played since the question, as it would be kept; empty: nothing
    std::vector<std::string> said; // lines, from the one asked for on
    std::size_t lines{0};          // all that were said
};

// A setup as clients lead it; every call comes on the service thread.
class SetupDesk
{
public:
    virtual bool start(std::string_view part) = 0; // "controls" or "keyswitches"; false: one is running
    virtual bool answer(std::string line) = 0;     // false: nothing is being asked
    virtual void stop() = 0;                       // nothing is saved
    virtual SetupState state(std::size_t from) = 0;

protected:
    ~SetupDesk() = default;
};

struct Reloading {
    bool accepted{false};
    std::vector<std::string> reasons;   // why not, a line each
    std::vector<std::string> restart{}; // accepted: keys that take effect only when the service is started anew
};

// The service as the status room sees it; every call comes on the service thread.
class StatusSource
{
public:
    virtual ~StatusSource() = default;
    virtual std::size_t player_count() const = 0;
    virtual Snapshot snapshot(std::size_t player) = 0;
    virtual ServiceState service() = 0;
    // False: the engine's command queue is full.
    virtual bool command(std::size_t player, Command command, std::uint8_t argument) = 0;

    // Facts are kept for next_fact only while they are wanted.
    virtual void want_facts(bool wanted) = 0;
    // The oldest fact not given yet; false: none.
    virtual bool next_fact(PlayerFact& fact) = 0;
    // How many facts were left out since the last call, because nobody fetched them in time.
    virtual std::uint64_t take_lost_facts() = 0;

    // Whether it can be under the hands.
    virtual bool takes_turns(std::size_t) const { return true; }

    virtual TakeDesk* takes() = 0;                 // null: takes are not kept
    virtual SetupDesk* setup() { return nullptr; } // null: there is no place for a configuration
    // Reads the configuration again; what plays goes on until the new players take over.
    virtual Reloading reload() = 0;
    // debug, info, warning or error.
    virtual void log_level(std::string_view level) = 0;
};

struct StatusOptions {
    std::filesystem::path socket; // at most 107 bytes
    std::size_t clients_at_most{64};
    std::uint16_t tcp_port{0};          // on the loopback address; 0: none
    std::filesystem::path token_file{}; // what a TCP client has to know; made where it is missing
};

// Binds in the constructor.  Throws SocketInUse when a living daemon has the path, SocketProblem for the rest;
// a socket left by a dead daemon is taken over.
class StatusServer
{
public:
    StatusServer(boost::asio::io_context& io, const StatusOptions& options, StatusSource& source);
    ~StatusServer(); // closes the clients; unlinks the socket when it is still ours
    StatusServer(const StatusServer&) = delete;
    StatusServer& operator=(const StatusServer&) = delete;

private:
    class Server;
    std::shared_ptr<Server> server_;
};

// what() is one line: path, reason, and what to do.
class SocketProblem : public std::system_error
{
public:
    SocketProblem(int error, std::string line) : std::system_error(error, std::generic_category()), line_(std::move(line)) {}
    const char* what() const noexcept override { return line_.c_str(); }

private:
    std::string line_;
};

class SocketInUse : public std::exception
{
public:
    explicit SocketInUse(std::string path) : path_(std::move(path)) {}
    const char* what() const noexcept override { return path_.c_str(); }

private:
    std::string path_;
};

// One request line in, one answer line out (without LF; empty for notifications).  Pure but for the source.
std::string answer_line(const std::string& line, StatusSource& source);
// A snapshot as the JSON object that status and subscribe give.
std::string snapshot_json(const Snapshot& snapshot);

} // namespace bowarm
