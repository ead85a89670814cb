// The running service: it puts the threads together, answers the status socket and the signals, and takes everything down
// so that nothing sounds and nothing is lost.
//   thread   the main thread, which becomes the service thread.  Real-time safe: no.
//   Errors   run() answers an exit code of sysexits; Unavailable and SocketInUse come before anything sounds.
#pragma once

#include "hear/input.hpp"
#include "status/status.hpp"
#include "studio/configuration.hpp"
#include "studio/left_over.hpp"
#include "studio/port_keeper.hpp"

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace bowarm
{

struct ServiceWish {
    Settings settings;
    StatusOptions status;                     // an empty socket: nobody is answered
    std::filesystem::path take_folder;        // empty: takes are not kept
    std::optional<std::vector<Input>> script; // a file to be played
    bool stay{false};                         // after the script
    OpenSystem open_system;
    std::vector<LeftOverTake> left_over{}; // what a crash left behind, to be finished
    std::function<Loaded()> read_again;    // the configuration, as at the start; empty: reload is refused
    // Where its takes are kept; empty function: where they are now, whatever is read again.
    std::function<std::filesystem::path(const Settings&)> take_place{};
    bool log_level_asked{false};               // on the command line, which a reload does not change
    std::filesystem::path own_configuration{}; // where a setup writes; empty: nowhere
};

class Service
{
public:
    // Binds the socket: SocketInUse when another instance runs, SocketProblem when it cannot be made.
    explicit Service(ServiceWish wish);
    ~Service();
    Service(const Service&) = delete;
    Service& operator=(const Service&) = delete;

    // Plays until it is told to stop, the script is over, or something that is needed is missing.
    int run();

private:
    class House;
    std::unique_ptr<House> house_;
};

} // namespace bowarm
