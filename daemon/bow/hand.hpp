// The left hand: where its first finger lies, what it reaches from there, and what it can hold at once.
//   in       semitones above the open string (0: open), the instrument's lengths
//   out      semitones, or whether it can be done
//   source   geometry: a note s semitones up is stopped at length * (1 - 2^(-s/12)) from the nut; the lengths in
//            config/instruments, with their sources
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "bow/instrument.hpp"

#include <cstdint>
#include <optional>
#include <span>

namespace bowarm
{

// Why notes cannot be played together.
enum class Unplayable : std::uint8_t {
    no,             // they can
    out_of_range,   // one of them is outside the instrument
    too_many_notes, // more than there are strings
    same_string,    // two of them need one string
    strings_apart,  // only strings that are no neighbours have them: the bow cannot reach both
    too_wide,       // the hand does not stretch so far
    too_many_fingers,
};

struct HandPlace {
    int first{2}; // where the first finger lies, semitones above the open string; 2 is the first position
};

// A stopped note: on which string and how high.
struct Stop {
    std::uint8_t string{0};
    int semitones{0};
};

Metres from_nut(const Instrument& instrument, int semitones) noexcept;

// Whether a finger falls on it without a shift; an open string needs none.
bool within_reach(const Instrument& instrument, HandPlace hand, int semitones) noexcept;
// The hand after the least shift that brings a finger there.
HandPlace moved_to(const Instrument& instrument, HandPlace hand, int semitones) noexcept;
// no, too_wide or too_many_fingers.  Open strings are free; one finger stops two neighbouring strings at the same place.
Unplayable hold(const Instrument& instrument, std::span<const Stop> notes) noexcept;

// The trade's number of the position, by the step of the scale that the first finger plays (second position: a third above
// the open string, and so on).  Common practice, no source.  Empty where the thumb plays, too.
std::optional<std::uint8_t> position_number(const Instrument& instrument, HandPlace hand) noexcept;

} // namespace bowarm
