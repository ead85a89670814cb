// One life of the service, from its start to its end or to kill -9: what people, plugs, disks and clocks do to it meanwhile, and
// whether it keeps what it promises.
//   in       a seed, the simulated moment at which it starts, a folder that earlier lives of the same story may have written to
//   out      a Tally; machine::violation() in words
//   thread   one.
#pragma once

#include "world/machine.hpp"

#include <cstdint>
#include <memory>
#include <string>

namespace bowarm::world
{

// One at a time may be told to the program, to prove that it is found.
enum class Lie : std::uint8_t {
    none,
    swallowed_note_off, // a sender's
    changed_value,      // of what is passed through
    lost_record,        // of the journal
    engine_waits,       // behind a lock
};

struct Wish {
    std::uint64_t seed{1};
    Ns from{0}, until{0}; // of the story; a life may end earlier
    Ns wall{0};
    std::string folder;
    std::string data; // config/ of the source
    Lie lie{Lie::none};
    bool verbose{false};
};

struct Tally {
    Ns ended{0}, wall{0};
    std::uint64_t steps{0}, inputs{0}, notes{0}, sent{0}, kills{0}, stops{0}, reloads{0}, refused{0}, faults{0}, replays{0}, silences{0},
        events{0}, takes{0};
};

Tally live(const Wish& wish);

} // namespace bowarm::world
