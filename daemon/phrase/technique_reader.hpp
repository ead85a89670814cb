// Reads the technique from how keys are held: detache, legato, staccato, spiccato; with hysteresis.
//   Length is known only when a key comes up, so the reading of a new note rests on the ones before it.
//   thresholds   common practice, no source: a short note fills about half its time; off the string belongs to
//                quicker, softer passages; a heavy accent stays on the string.
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"
#include "base/technique.hpp"
#include "phrase/rhythm.hpp"

namespace bowarm
{

struct ReadingLimits {
    Loudness spiccato_loudest;
    Hertz spiccato_slowest; // notes a second
};

class TechniqueReader
{
public:
    explicit TechniqueReader(const ReadingLimits& limits) : limits_(limits) {}
    // accent: velocity over the running average, 1 = as usual.
    Technique read(bool slurred, const Rhythm& rhythm, Loudness loudness, double accent) noexcept;

private:
    ReadingLimits limits_;
    bool short_notes_{false};
    bool off_string_{false};
};

} // namespace bowarm
