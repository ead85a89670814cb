// Takes as clients of the status socket see them: the writer's, and what lies in its folder.
//   thread   the service.  Real-time safe: no.  Errors: a folder that cannot be read has no takes.
#pragma once

#include "status/status.hpp"
#include "studio/take_writer.hpp"

#include <filesystem>

namespace bowarm
{

class Takes final : public TakeDesk
{
public:
    Takes(TakeWriter& writer, std::filesystem::path folder) : writer_(writer), folder_(std::move(folder)) {}

    void start() override { writer_.cut(); } // a take begins by itself, with the first note
    void stop() override { writer_.cut(); }
    std::string running() override { return writer_.running(); }
    std::vector<TakeEntry> list() override;

private:
    TakeWriter& writer_;
    std::filesystem::path folder_;
};

} // namespace bowarm
