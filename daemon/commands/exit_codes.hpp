// What the service manager and scripts learn from an exit.
//   source   sysexits.h (BSD 4.3); systemd.exec(5) prints the same names.
#pragma once

#include <stdexcept>
#include <string>

namespace bowarm::exit_code
{

inline constexpr int fine = 0;
inline constexpr int with_warnings =
    1;                           // done and written, but something that was asked could not be, or --fail-on found what it was to look for
inline constexpr int usage = 64; // the command line cannot be understood
inline constexpr int bad_data = 65;      // an input file is not what it should be
inline constexpr int no_input = 66;      // an input or configuration file is not there
inline constexpr int unavailable = 69;   // the MIDI system or a port that is needed is absent
inline constexpr int internal = 70;      // a defect of ours
inline constexpr int cannot_create = 73; // an output cannot be made
inline constexpr int input_output = 74;  // reading or writing failed on the way
inline constexpr int try_later = 75;     // another instance runs
inline constexpr int configuration = 78;

} // namespace bowarm::exit_code

namespace bowarm
{

// Ends a command from anywhere below it: main prints the text as one line on stderr and exits with the code.
class CommandFailure : public std::runtime_error
{
public:
    CommandFailure(int code, const std::string& line) : std::runtime_error(line), code_(code) {}
    int code() const noexcept { return code_; }

private:
    int code_;
};

} // namespace bowarm
