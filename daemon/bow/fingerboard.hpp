// Which string a note is played on.
//   in       sounding key, the string in use, the strings already taken by other sounding notes
//   out      index from the lowest string
//   thread   any, pure.  Real-time safe: yes.  Errors: a note that no free string has says so.
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

} // namespace bowarm
