// One line on a terminal that says where a played file is; nothing where stderr is not a terminal.
//   thread   the service.  Real-time safe: no.  Errors: none.
#pragma once

#include "player/player.hpp"

#include <cstdio>
#include <unistd.h>

namespace bowarm
{

class Progress
{
public:
    void show(Time now, const Snapshot& snapshot)
    {
        if (!terminal_) return;
        const auto seconds = static_cast<long>(now.ns / 1'000'000'000);
        std::fprintf(stderr, "\r%02ld:%02ld", seconds / 60, seconds % 60);
        if (snapshot.place.bar > 0) std::fprintf(stderr, "  bar %d", snapshot.place.bar);
        std::fprintf(stderr, "  %u notes, %u strokes   ", snapshot.notes, snapshot.strokes);
        std::fflush(stderr);
        open_ = true;
    }
    // The next line begins on a line of its own.
    void end()
    {
        if (open_) std::fputc('\n', stderr);
        open_ = false;
    }

private:
    bool terminal_{::isatty(STDERR_FILENO) == 1};
    bool open_{false};
};

} // namespace bowarm
