// How the bow, or the finger, is moved for each of the stand-in's recordings.
//   in       seconds from the start of the recording
//   out      speed m/s (signed), force N, contact point; force 0: nothing touches the string
//   thread   any, pure.
#pragma once

#include "base/quantity.hpp"

namespace bowarm::stand_in
{

enum class Sound { sustained, marcato, tremolo, staccato, spiccato, pizzicato };
inline constexpr int sound_count = 6;
inline constexpr int layer_count = 3; // soft, middle, loud

struct Touch {
    MetresPerSecond speed;
    Newtons force;
    Beta beta;
};

struct Take {
    Sound sound;
    int layer; // 0..layer_count - 1
    KilogramsPerSecond impedance;
};

Touch touch_at(const Take& take, Seconds t);

// How much is kept; and, for what sounds on under a held key, where the part begins that is played round and round.
Seconds length_of(Sound sound);
Seconds loop_from(Sound sound); // 0: none, the sound dies by itself
// The loop is a whole number of these; 0: of the string's own periods.
Seconds beat_of(Sound sound);

} // namespace bowarm::stand_in
