// Key and the names of notes.
//   in       notes by key number and how long they last
//   out      a key signature; step, alteration and octave of a key number in it
//   source   key profiles of Krumhansl and Kessler 1982 (Psychological Review 89:334), values from memory; names by the line of fifths,
//            common practice, no source
//   thread   any, pure.  Real-time safe: yes.  Errors: none; without notes C major.
#pragma once

#include "midi/standard_file.hpp"
#include "take/part/music.hpp"

#include <array>
#include <span>

namespace bowarm::part
{

// Weights: how long each pitch class sounds, C first.
KeyChange key_of(const std::array<double, 12>& weights);

struct Spelled {
    char step{'C'};
    int alter{0};
    int octave{4};
};
Spelled spelled(int key_number, KeyChange key);
// What the signature alters a step by.
int signature_alter(char step, KeyChange key);

} // namespace bowarm::part
