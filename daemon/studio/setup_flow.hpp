// A whole setup: the questions, what will be written, the leave to write it, and the writing.
//   in       the settings that hold now, and the path of the person's own configuration, which a packaged one is copied to
//   out      the file that was written, and what is left to do, told through Talk
//   thread   any; it waits in Talk::next.  Real-time safe: no.
//   Errors   Left when the person leaves; SetupFailure with one clear line or more, nothing written then.
#pragma once

#include "studio/configuration.hpp"
#include "studio/setup_talk.hpp"

#include <filesystem>
#include <stdexcept>
#include <string>

namespace bowarm
{

enum class SetupPart : std::uint8_t { controls, keyswitches };

class SetupFailure : public std::runtime_error
{
public:
    SetupFailure(int code, const std::string& lines) : std::runtime_error(lines), code_(code) {}
    int code() const noexcept { return code_; } // of sysexits

private:
    int code_;
};

void set_up(Talk& talk, SetupPart part, const Settings& settings, const std::filesystem::path& own);

} // namespace bowarm
