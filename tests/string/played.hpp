// Plays keys into a Player and writes down its bow as the snapshots show it; bows the model string with that.
//   out      the bow in time, speed signed, down positive; between samples the string is bowed along straight lines
//   thread   any.  Errors: none.
#pragma once

#include "bow/plan.hpp"
#include "player/fixture.hpp"
#include "string/slips.hpp"

#include <functional>
#include <vector>

namespace bowarm::test
{

struct BowSample {
    Time at;
    Motion motion; // speed signed
    HairFraction hair;
    bool on_string{false};
    std::uint8_t string{no_string};
    std::uint32_t stroke{0};
};

struct PlayedNote {
    Time down, up;
    int pitch;
    Loudness loudness;
    Technique technique;
    bool slurred{false}; // it does not begin a stroke
};

struct Performance {
    std::vector<BowSample> bow;
    std::vector<PlayedNote> notes;
};

struct Exercise {
    Technique technique;
    std::uint8_t string;
    Loudness loudness;
};
// Eight notes up and down the first position of one string: half a second each, a breath after each bow; legato four in a bow.
Performance play(const Exercise& exercise);

struct BowedNote {
    PlayedNote note;
    std::uint8_t string;
    Judgement settled;     // from `attack` after the key to its release
    Judgement starting;    // up to there
    Seconds regular_after; // from the key; below 0: never
    BowSample steady;      // in the middle of the settled part
};
inline constexpr Seconds attack{0.15};

using Change = std::function<void(Motion&)>;
std::vector<BowedNote> bow(const Performance& performance, const Instrument& instrument, const StringMake& like, const Change& change = {});

constexpr Seconds period_of(int pitch)
{
    double hertz = 440; // equal temperament
    constexpr double semitone = 1.0594630943592953;
    for (int p = 69; p < pitch; ++p) hertz *= semitone;
    for (int p = 69; p > pitch; --p) hertz /= semitone;
    return Seconds{1 / hertz};
}

} // namespace bowarm::test
