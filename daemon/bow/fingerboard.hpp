// Which string a single note is played on, and the strings of a double stop.
//   in       sounding keys, the string in use, the strings already taken by other sounding notes, where the hand is
//   out      indices from the lowest string
//   thread   any, pure.  Real-time safe: yes.  Errors: empty where no hand can hold both.
#pragma once

#include "bow/hand.hpp"
#include "bow/instrument.hpp"

#include <array>
#include <optional>

namespace bowarm
{

struct StringsTaken {
    std::array<bool, 6> taken{};
};

struct FingerNeeds {
    Midi7 pitch;
    std::optional<std::uint8_t> current; // the string in use
    StringsTaken taken;
    HandPlace hand;
    bool rather_stopped{false};         // a sustained note that an open string would leave without life
    bool rather_open{false};            // the person asks for open strings
    std::optional<std::uint8_t> wished; // the string that the person asks for
};

// The lowest string where no free one has the note.
std::uint8_t finger(const Instrument& instrument, const FingerNeeds& needs) noexcept;

// The strings of a double stop.
struct StringPair {
    std::uint8_t held{0};
    std::uint8_t other{0};
};

// Two neighbouring strings that have both notes within one hand (bow/hand.hpp, bow/chord.hpp).  The held note keeps its string
// where that can be.
std::optional<StringPair> finger_together(const Instrument& instrument, Midi7 held, std::optional<std::uint8_t> held_on,
                                          Midi7 other) noexcept;

} // namespace bowarm
