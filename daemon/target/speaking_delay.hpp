// How long after its note a sampler is heard to speak: recordings begin before their sound does, and slurs glide.
//   in       the velocity as sent; for a slurred note the interval from the note before, in semitones
//   out      seconds, 0 to 0.5
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
//   The numbers are the target file's; what they hang on (first or slurred, velocity, interval) is common practice, no source.
#pragma once

#include "base/quantity.hpp"
#include "midi/message.hpp"

#include <optional>

namespace bowarm
{

struct TargetSpec;

struct SpeakingDelay {
    Seconds first;        // a note that begins anew, struck as hard as can be
    Seconds connected;    // one that is slurred to the note before
    Seconds softest_adds; // at velocity 1; nothing at 127, in proportion between
    Seconds octave_adds;  // slurred: for an octave, in proportion, up to two octaves
};

inline constexpr Seconds longest_speaking_delay{0.5};

// interval: empty for a note that begins anew.
Seconds speaks_after(const SpeakingDelay& delay, Midi7 velocity, std::optional<int> interval) noexcept;
// The longest that any note of any technique may take.
Seconds longest_delay(const TargetSpec& target) noexcept;
// How long before it is to be heard a note has to be known, so that its switch can go first.
Seconds time_ahead(const TargetSpec& target) noexcept;

} // namespace bowarm
