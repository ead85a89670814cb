// The stand-in as a JACK client: MIDI input "in", audio outputs "left" and "right".
//   thread   the caller's, until SIGINT or SIGTERM, or until the server goes.
//   It begins softly: a quarter of its loudness with the first note, all of it ten seconds later.
#pragma once

#include "sounds.hpp"

#include <cstdint>
#include <optional>
#include <string>

namespace bowarm::stand_in
{

struct LiveWish {
    std::string client;
    bool to_speakers; // connect to the first two physical outputs
    std::optional<std::uint64_t> reorder;
};

// Renders the sounds when a server answers.  An exit code of sysexits; 69 when no JACK server runs, or when it goes.
int play_live(const Instrument& instrument, const LiveWish& wish);

} // namespace bowarm::stand_in
