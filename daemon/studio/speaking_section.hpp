// The keys of a technique that say how long after its notes the sampler speaks; config/targets/README.md explains them.
//   thread   any.  Real-time safe: no.  Errors: as rows do (key_rows.hpp).
#pragma once

#include "studio/key_rows.hpp"
#include "target/target_spec.hpp"

namespace bowarm
{

// Rows for the table of a technique.  Where connected_speaks_after_s is absent, speaks_after_s holds for slurred notes, too;
// finish_speaking() sees to that when the table has been read.
inline constexpr KeyRow<TechniqueWay> speaks_after_row{number("speaks_after_s", 0, 0.5, 0.0, "how long after a note it is heard"),
                                                       [](TechniqueWay& w, const Given& g) { w.speaking.first = Seconds{g.number}; }};
inline constexpr KeyRow<TechniqueWay> connected_speaks_after_row{
    number("connected_speaks_after_s", 0, 0.5, Absent{}, "the same of a note that is slurred to the one before"),
    [](TechniqueWay& w, const Given& g) { w.speaking.connected = Seconds{g.number}; }};
inline constexpr KeyRow<TechniqueWay> softest_speaks_later_row{
    number("softest_speaks_later_s", 0, 0.5, 0.0, "what velocity 1 adds; 127 adds nothing"),
    [](TechniqueWay& w, const Given& g) { w.speaking.softest_adds = Seconds{g.number}; }};
inline constexpr KeyRow<TechniqueWay> octave_speaks_later_row{
    number("octave_speaks_later_s", 0, 0.5, 0.0, "what a slur over an octave adds"),
    [](TechniqueWay& w, const Given& g) { w.speaking.octave_adds = Seconds{g.number}; }};

inline void finish_speaking(const Section& technique, TechniqueWay& way)
{
    if (!technique.has("connected_speaks_after_s")) way.speaking.connected = way.speaking.first;
}

// A fallback speaks as the technique that is played instead.
inline bool says_when_it_speaks(const Section& technique)
{
    return technique.has("speaks_after_s") || technique.has("connected_speaks_after_s") || technique.has("softest_speaks_later_s") ||
           technique.has("octave_speaks_later_s");
}

} // namespace bowarm
