// Which harmonics a string has: the finger touches it at a node, and the note an octave or more above sounds.
//   in       sounding keys
//   out      the string, index from the lowest; what is played instead where there is no such harmonic
//   source   partials 2, 3, 4, 5, 6 and 8 of the open string lie 12, 19, 24, 28, 31 and 36 semitones above it (12 log2 n, to within
//            16 cents; the seventh, 31 cents flat, is left out).  Artificial: a fourth is touched above a stopped note, and
//            its fourth partial sounds, two octaves above the stopped note (all orchestration handbooks).
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/technique.hpp"
#include "bow/instrument.hpp"

#include <optional>

namespace bowarm
{

// The lowest partial that sounds it, which speaks most easily.
std::optional<std::uint8_t> natural_harmonic(const Instrument& instrument, Midi7 sounding) noexcept;
// On the string where the stopped note is nearest to the nut.
std::optional<std::uint8_t> artificial_harmonic(const Instrument& instrument, Midi7 sounding) noexcept;

struct Harmonic {
    Technique technique{Technique::detache}; // the note stopped, where no harmonic sounds it
    std::optional<std::uint8_t> string;
};
// The kind asked for, else the other kind.
Harmonic fitting_harmonic(const Instrument& instrument, Technique asked, Midi7 sounding) noexcept;

constexpr bool is_harmonic(Technique t) { return t == Technique::harmonic || t == Technique::artificial_harmonic; }

} // namespace bowarm
