// Moments as quarter notes, by the tempos that a take was told.
//   in       a take's inputs
//   out      quarter notes since its origin, at the first tempo until one is told; and back; the tempos themselves
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none; ask known() first.
#pragma once

#include "take/take.hpp"

#include <vector>

namespace bowarm
{

// From here on so fast.
struct TempoFrom {
    Time at;
    double quarters{0};
    double seconds_a_quarter{0.5};

    double quarters_at(Time t) const { return quarters + to_seconds(t - at).value / seconds_a_quarter; }
};

// The one that holds at that moment, the first before any; of at least one.
const TempoFrom& tempo_at(const std::vector<TempoFrom>& tempos, Time at);

class TempoLine
{
public:
    explicit TempoLine(const Recorder& take);

    bool known() const { return !tempos_.empty(); }
    const std::vector<TempoFrom>& tempos() const { return tempos_; }
    double quarters_at(Time at) const { return tempo_at(tempos_, at).quarters_at(at); }
    Seconds quarter_at(Time at) const { return Seconds{tempo_at(tempos_, at).seconds_a_quarter}; }
    Time moment_of(double quarters) const;

private:
    std::vector<TempoFrom> tempos_;
};

} // namespace bowarm
