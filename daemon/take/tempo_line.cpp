#include "take/tempo_line.hpp"

#include <algorithm>

namespace bowarm
{

TempoLine::TempoLine(const Recorder& take)
{
    for (const Input& input : take.inputs()) {
        if (input.kind != InputKind::tempo) continue;
        const int microseconds = input.data[0] << 16 | input.data[1] << 8 | input.data[2];
        if (microseconds == 0) continue;
        const double seconds = microseconds * 1e-6;
        const double quarters = tempos_.empty() ? to_seconds(input.at - take.origin()).value / seconds : quarters_at(input.at);
        tempos_.push_back({input.at, quarters, seconds});
    }
}

const TempoLine::Tempo& TempoLine::before(Time at) const
{
    const auto after = std::upper_bound(tempos_.begin(), tempos_.end(), at, [](Time t, const Tempo& tempo) { return t < tempo.at; });
    return after == tempos_.begin() ? *after : *(after - 1);
}

double TempoLine::quarters_at(Time at) const
{
    const Tempo& tempo = before(at);
    return tempo.quarters + to_seconds(at - tempo.at).value / tempo.seconds_a_quarter;
}

Seconds TempoLine::quarter_at(Time at) const { return Seconds{before(at).seconds_a_quarter}; }

Time TempoLine::moment_of(double quarters) const
{
    const auto after =
        std::upper_bound(tempos_.begin(), tempos_.end(), quarters, [](double q, const Tempo& tempo) { return q < tempo.quarters; });
    const Tempo& tempo = after == tempos_.begin() ? *after : *(after - 1);
    return tempo.at + to_duration(Seconds{(quarters - tempo.quarters) * tempo.seconds_a_quarter});
}

} // namespace bowarm
