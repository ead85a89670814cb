// The beats of a take as moments, for everything that draws or writes it by bar.
//   in       a take; tempos and meters of a file give the beats exactly, else they are laid between the places told with the notes
//   out      beats by time, in the person's time; empty where no bar is known
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/take.hpp"

#include <cstdint>
#include <vector>

namespace bowarm
{

struct Beat {
    Time at;
    std::int32_t bar{0};
    std::int32_t beat{1}; // 1 begins the bar
};

// later: as in ReportHead.
std::vector<Beat> beats_of(const Recorder& take, Duration later);

} // namespace bowarm
