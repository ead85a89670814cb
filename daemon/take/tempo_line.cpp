#include "take/tempo_line.hpp"

#include <algorithm>

namespace bowarm
{

const TempoFrom& tempo_at(const std::vector<TempoFrom>& tempos, Time at)
{
    const auto after = std::upper_bound(tempos.begin(), tempos.end(), at, [](Time t, const TempoFrom& tempo) { return t < tempo.at; });
    return after == tempos.begin() ? *after : *(after - 1);
}

TempoLine::TempoLine(const Recorder& take)
{
    for (const Input& input : take.inputs()) {
        if (input.kind != InputKind::tempo || microseconds_a_quarter(input) == 0) continue;
        const double seconds = microseconds_a_quarter(input) * 1e-6;
        const double quarters = tempos_.empty() ? to_seconds(input.at - take.origin()).value / seconds : quarters_at(input.at);
        tempos_.push_back({input.at, quarters, seconds});
    }
}

Time TempoLine::moment_of(double quarters) const
{
    const auto after =
        std::upper_bound(tempos_.begin(), tempos_.end(), quarters, [](double q, const TempoFrom& tempo) { return q < tempo.quarters; });
    const TempoFrom& tempo = after == tempos_.begin() ? *after : *(after - 1);
    return tempo.at + to_duration(Seconds{(quarters - tempo.quarters) * tempo.seconds_a_quarter});
}

} // namespace bowarm
