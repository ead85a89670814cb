// Reads the technique from how keys are played: the family first (family_reader.hpp), then the member of it that a player
// would use at that tempo and loudness; both with hysteresis.
//   Length is known only when a key comes up, so the reading of a new note rests on the ones before it.
//   members  slurred: legato.  Separate, and what is not clear: detache, which a note-off can end at any time.
//            Short: off the string where the bow bounces and the music is not loud, spiccato, quicker sautille; else staccato.
//            Short, but longer than a short sound lasts: detache, and the silence between is the key's.
//            Accented short: martele where each has time and silence after it, else marcato.  Fast repeated: tremolo.
//   source   rates and loudness at which the bow leaves the string are the instrument's (config/instruments, with sources);
//            a martele needs a stop before each stroke (I. Galamian 1962, from memory); its numbers, common practice, no source
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"
#include "base/technique.hpp"
#include "phrase/family_reader.hpp"
#include "phrase/rhythm.hpp"
#include "phrase/side.hpp"

namespace bowarm
{

struct ReadingLimits {
    Loudness spiccato_loudest;
    Hertz spiccato_slowest; // notes a second
    Hertz spiccato_fastest;
    Hertz sautille_slowest;
    Hertz sautille_fastest;
};

struct Reading {
    Family family{Family::ambiguous};
    Technique technique{Technique::detache};
};

class TechniqueReader
{
public:
    explicit TechniqueReader(const ReadingLimits& limits) : limits_(limits), families_(limits.spiccato_loudest) {}
    // The rhythm has heard this onset.
    Reading read(const Onset& onset, Loudness wanted, const Rhythm& rhythm, const Ahead& ahead) noexcept;
    // The newest onset was no slur after all.
    Reading read_parted(const Rhythm& rhythm, const Ahead& ahead) noexcept;

private:
    void hear(const PastNote* before, Loudness wanted) noexcept;
    Technique member(Family family, const Rhythm& rhythm) noexcept;
    Technique short_member(Hertz rate) noexcept;
    Technique accented_member(Hertz rate) noexcept;

    ReadingLimits limits_;
    FamilyReader families_;
    Loudness loudness_{-1};  // followed; below 0: nothing was heard
    Seconds held_, silence_; // of separate notes, followed
    Side long_, loud_, bounces_, by_itself_, too_fast_, quick_, stops_;
};

} // namespace bowarm
