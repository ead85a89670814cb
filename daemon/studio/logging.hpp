// The service's log: stderr, readable for a person, with level prefixes for the journal.
//   thread   set_up: once, before other threads.  Real-time safe: no; never used by engine, sender or callback threads.
//   A warning or error that is said again and again, whatever its numbers, is said five times a minute, and then how often it was
//   left out.
//   source   sd-daemon(3): "<3>" to "<7>" before a line; systemd.exec(5): $JOURNAL_STREAM is "device:inode" of fd 2.
#pragma once

#include <string_view>

namespace bowarm
{

// level: trace, debug, info, warning, error or off.
void set_up_logging(std::string_view level);

// debug, info, warning or error.  Any thread.
void set_log_level(std::string_view level);

// True when stderr is the journal.
bool writes_to_journal();

} // namespace bowarm
