// Which string a note is played on, and which two notes can be played together.
//   in       sounding keys, the string in use, the strings already taken by other sounding notes
//   out      indices from the lowest string
//   thread   any, pure.  Real-time safe: yes.  Errors: a note that no free string has says so; empty where no hand can.
#pragma once

#include "bow/instrument.hpp"

#include <optional>

namespace bowarm
{

struct Fingering {
    std::uint8_t string{0};
    bool in_range{true};   // of the instrument
    bool own_string{true}; // false: it needs a string that another sounding note has
};

struct StringsTaken {
    std::array<bool, 6> taken{};
};

Fingering finger(const Instrument& instrument, Midi7 pitch, std::optional<std::uint8_t> current, const StringsTaken& taken) noexcept;

// The strings of a double stop.
struct StringPair {
    std::uint8_t held{0};
    std::uint8_t other{0};
};

// Two neighbouring strings that have both notes within one hand: an open string is always within it, two stopped notes when
// they are no farther apart along the string than the instrument's hand_span (C. Forsyth, Orchestration, 1914, p. 316: the open
// string; geometry: the rest).  The held note keeps its string where that can be.
std::optional<StringPair> finger_together(const Instrument& instrument, Midi7 held, std::optional<std::uint8_t> held_on,
                                          Midi7 other) noexcept;

} // namespace bowarm
