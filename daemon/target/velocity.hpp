// The velocity of an outgoing note, as the target's file says.
//   thread   the player's, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"
#include "base/technique.hpp"
#include "midi/message.hpp"
#include "target/target_spec.hpp"

namespace bowarm
{

struct NoteStart {
    Midi7 played;
    Loudness loudness;
    double accent{1};      // 1: as its neighbours
    bool connected{false}; // slurred from the note before
    Seconds since_last;    // from the onset of the note before; of connected notes
    int leap{0};           // semitones from it
    bool again{false};     // sounds again in the middle of a stroke, and ought not to be heard as new
};

// The technique is the one that sounds, after fallback; without a way the velocity is as played.
Midi7 velocity_of(const TechniqueWay* way, Technique technique, const NoteStart& start) noexcept;

} // namespace bowarm
