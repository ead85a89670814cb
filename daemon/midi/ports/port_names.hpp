// Names of ports: which of them a line of the configuration means.
//   thread   any, pure.  Real-time safe: no.  Errors: none.
//   Client numbers are never part of a name: they change with every start of the machine.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace bowarm
{

// Without the trailing " client:port" that ALSA's list has.
std::string_view without_numbers(std::string_view name);

// A wish is a part of a name in any case, a "\"whole name\"" in quotes, a whole name with * for any run of characters, or re: and
// a POSIX extended expression (IEEE Std 1003.1, 9.4) that fits somewhere in the name, in any case.  It is at most 200 bytes long, has no
// back references, which may take for ever, and no {n,m} above 16, which may take all memory.
// What is wrong with a wish; empty: nothing.
std::string trouble_with(std::string_view wish);
bool matches(std::string_view wish, std::string_view name);

// The names a wish means, in their order: all for a wish with *, else one: a name that is the wish exactly, or the only one that
// fits.  Where several fit, none is chosen, and `rivals` names them.
std::vector<std::string> chosen(std::string_view wish, std::span<const std::string> names);
std::vector<std::string> rivals(std::string_view wish, std::span<const std::string> names);

// The part before the first colon.
std::string_view client_of(std::string_view name);
// One of this program's own ports: its client is `client`, or begins with it and a space.
bool is_own(std::string_view name, std::string_view client);
// ALSA's loop-back client; connected by itself it makes a feedback loop.
bool is_through(std::string_view name);

} // namespace bowarm
