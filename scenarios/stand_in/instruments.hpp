// What the stand-in is built like: strings and body of the four instruments.
//   source   strings: config/instruments, the same numbers; body: the lowest resonances of a violin near 275, 460 and 540 Hz and
//            its bridge hill near 2.4 kHz (from memory); the others scaled by where their air resonance lies (from memory)
//   thread   any, pure.
#pragma once

#include "base/quantity.hpp"

#include <array>
#include <span>
#include <string_view>

namespace bowarm::stand_in
{

struct StringMake {
    int open_key;
    KilogramsPerSecond impedance;
};

struct Instrument {
    std::string_view name;
    int highest_key;
    std::array<StringMake, 4> strings; // from the lowest
    double body;                       // its resonances over the violin's
};

std::span<const Instrument> instruments();
const Instrument* instrument_of(std::string_view name); // null: there is none of that name

// Equal temperament, A4 = 440 Hz.
Hertz hertz(int key);

} // namespace bowarm::stand_in
