// The setup of `bowarmd setup`, for clients of the status socket: the same questions, answered by requests, while the service plays.
//   A thread of its own talks and writes; what comes in through the ports is shown to it while it lasts.
//   thread   the service.  Real-time safe: no.
//   Errors   a setup that fails says so in what it said last.
#pragma once

#include "status/status.hpp"
#include "studio/configuration.hpp"
#include "studio/lines.hpp"
#include "studio/setup_flow.hpp"

#include <deque>
#include <filesystem>
#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

namespace bowarm
{

class Setups final : public SetupDesk
{
public:
    // settings: those that hold at that moment.
    Setups(std::shared_ptr<Lines> lines, std::filesystem::path own, std::function<const Settings&()> settings)
        : lines_(std::move(lines)), own_(std::move(own)), settings_(std::move(settings))
    {
    }
    ~Setups();
    Setups(const Setups&) = delete;
    Setups& operator=(const Setups&) = delete;

    bool start(std::string_view part) override;
    bool answer(std::string line) override;
    void stop() override;
    SetupState state(std::size_t from) override;

private:
    class SocketTalk;
    void run(SetupPart part, const Settings& settings);

    std::shared_ptr<Lines> lines_;
    std::filesystem::path own_;
    std::function<const Settings&()> settings_;
    std::mutex mutex_; // for what follows
    std::vector<std::string> said_;
    std::string heard_;
    std::deque<std::string> answers_;
    bool running_{false}, waiting_{false}, stopping_{false};
    std::thread thread_;
};

} // namespace bowarm
