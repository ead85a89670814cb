// One string instrument and its bow as numbers; loaded from config/instruments, which has the sources.
//   Constant after the player is built.
#pragma once

#include "base/fixed_vector.hpp"
#include "base/quantity.hpp"
#include "bow/bounce.hpp"
#include "midi/message.hpp"

#include <array>
#include <cstdint>

namespace bowarm
{

struct StringData {
    Midi7 open_key;               // of the open string
    KilogramsPerSecond impedance; // wave impedance Z = T / (2 L f0)
};

// A steady tone at one wanted loudness, as players measured or practised it.
struct DynamicRow {
    Loudness loudness;
    MetresPerSecond speed;
    Newtons force;
    Beta beta;
};

// Rates between which a bouncing stroke works, in notes per second.
struct RateRange {
    Hertz low;
    Hertz high;
};

struct Instrument {
    std::array<char, 24> name{};
    FixedVector<StringData, 6> strings; // lowest first
    Midi7 lowest_key;                   // sounding pitch
    Midi7 highest_key;
    Metres string_length;
    Metres hand_span{0.1};    // the widest between two stopped notes on different strings, along the string
    Metres hand_frame{0.075}; // between first and fourth finger at ease: what is reached without a shift
    int widest_stretch{9};    // of a hand, semitones, wherever it is
    int thumb_from{0};        // semitones above the open string from which the thumb plays, too; 0: never
    Metres hair;              // usable length
    Kilograms bow_mass;
    Metres balance_from_frog; // balance point
    Newtons hair_tension{55};
    Metres hair_between{0.65};                // all of it, frog to tip
    KilogramSquareMetres bow_inertia{0.0048}; // about the frog
    double restitution{0.8};                  // of a bounce: speed after over speed before
    double sticking_friction{0.8};
    double sliding_friction_at_slip{0.4}; // at the speed of the first slip
    double friction_difference{0.5};      // sticking minus sliding friction coefficient
    KilogramsPerSecond bridge_resistance;
    MetresPerSecond speed_low, speed_high;
    Newtons force_low, force_high_at_frog, force_high_at_tip;
    Beta beta_low, beta_high;            // ordinary playing: nearest to the bridge, nearest to the fingerboard
    FixedVector<DynamicRow, 8> dynamics; // softest first, loudness rising
    RateRange spiccato;
    RateRange sautille;
    Hertz tremolo_rate;                 // unmeasured, soft
    Seconds retake_short, retake_whole; // a third of the bow; the whole bow
    Loudness spiccato_loudest;          // above it a short note stays on the string
};

} // namespace bowarm
