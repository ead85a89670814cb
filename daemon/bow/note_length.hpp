// How long a note sounds at its full strength whose technique says that it is shorter than its place in time.
//   in       the technique; seconds to the next note, as far as the tempo tells (0: nothing does)
//   out      seconds; empty where the key alone says when the note ends.  A key that comes up earlier ends it earlier.
//   source   staccato half of the time, marcato about three quarters of it with a space after, martele in between, each shorter
//            as the tempo rises; struck and bounced notes as long as they touch and ring: common practice, no source
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"
#include "base/technique.hpp"

#include <optional>

namespace bowarm
{

constexpr std::optional<Seconds> note_length(Technique technique, Seconds interval)
{
    struct Share {
        double of_interval;
        Seconds least, most;
    };
    const auto length = [&](const Share& s) { return interval > Seconds{0} ? clamp(interval * s.of_interval, s.least, s.most) : s.most; };
    switch (technique) {
    case Technique::staccato:
        return length({0.5, Seconds{0.05}, Seconds{0.40}});
    case Technique::martele:
        return length({0.6, Seconds{0.08}, Seconds{0.60}});
    case Technique::marcato:
        return length({0.75, Seconds{0.08}, Seconds{1.50}});
    case Technique::spiccato:
        return length({0.5, Seconds{0.05}, Seconds{0.20}});
    case Technique::sautille:
        return length({0.5, Seconds{0.04}, Seconds{0.10}});
    case Technique::col_legno_battuto:
        return length({0.4, Seconds{0.03}, Seconds{0.08}});
    default:
        return std::nullopt;
    }
}

} // namespace bowarm
