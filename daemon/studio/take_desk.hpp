// Takes as clients of the status socket see them: the writer's, and what lies in its folder.
//   thread   the service.  Real-time safe: no.  Errors: a folder that cannot be read has no takes.
#pragma once

#include "status/status.hpp"
#include "studio/take_writer.hpp"

#include <filesystem>
#include <functional>

namespace bowarm
{

class Takes final : public TakeDesk
{
public:
    // ask: puts a command in line for the player.
    Takes(TakeWriter& writer, std::filesystem::path folder, std::function<void(Command)> ask)
        : writer_(writer), folder_(std::move(folder)), ask_(std::move(ask))
    {
    }

    void start() override { ask_(Command::take_begin); }
    void stop() override { ask_(Command::take_end); }
    void hear() override { ask_(Command::hear_take); }
    std::string running() override { return writer_.state().stem; }
    std::vector<TakeEntry> list() override;

private:
    TakeWriter& writer_;
    std::filesystem::path folder_;
    std::function<void(Command)> ask_;
};

} // namespace bowarm
