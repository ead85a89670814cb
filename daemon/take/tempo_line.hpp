// Moments as quarter notes, by the tempos that a take was told.
//   in       a take's inputs
//   out      quarter notes since its origin, at the first tempo until one is told; and back
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none; ask known() first.
#pragma once

#include "take/take.hpp"

#include <vector>

namespace bowarm
{

class TempoLine
{
public:
    explicit TempoLine(const Recorder& take);

    bool known() const { return !tempos_.empty(); }
    double quarters_at(Time at) const;
    Seconds quarter_at(Time at) const;
    Time moment_of(double quarters) const;

private:
    struct Tempo {
        Time at;
        double quarters{0};
        double seconds_a_quarter{0};
    };
    const Tempo& before(Time at) const;

    std::vector<Tempo> tempos_;
};

} // namespace bowarm
