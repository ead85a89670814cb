#include "phrase/technique_reader.hpp"

namespace bowarm
{
namespace
{

// Each pair is entered at the first and left at the second, so that a line never flickers.
constexpr Seconds long_enter{0.40}, long_leave{0.30}; // held: longer than short sounds last
constexpr double loudness_margin = 0.06;
constexpr double rate_margin = 0.08; // of a rate, on either side
constexpr Hertz martele_enter{3.7}, martele_leave{4.3};
constexpr Seconds silence_enter{0.12}, silence_leave{0.09};
constexpr double follow = 0.3; // share of the newest note

} // namespace

Reading TechniqueReader::read(const Onset& onset, Loudness wanted, const Rhythm& rhythm) noexcept
{
    hear(rhythm.newest(), wanted);
    const Family family = families_.read(onset, rhythm);
    return {family, member(family, rhythm)};
}

Reading TechniqueReader::read_parted(const Rhythm& rhythm) noexcept
{
    const Family family = families_.read_parted();
    return {family, member(family, rhythm)};
}

void TechniqueReader::hear(const PastNote* before, Loudness wanted) noexcept
{
    loudness_ = loudness_ < Loudness{0} ? wanted : loudness_ + (wanted - loudness_) * follow;
    if (before == nullptr || before->reached || before->slurred) return;
    const Seconds silence = before->interval - before->held;
    if (!(held_ > Seconds{0})) {
        held_ = before->held;
        silence_ = silence;
    }
    held_ = held_ + (before->held - held_) * follow;
    silence_ = silence_ + (silence - silence_) * follow;
}

Technique TechniqueReader::member(Family family, const Rhythm& rhythm) noexcept
{
    switch (family) {
    case Family::slurred:
        return Technique::legato;
    case Family::fast_repeated:
        return Technique::tremolo;
    case Family::short_notes:
        return short_member(rhythm.steady_rate());
    case Family::accented_short:
        return accented_member(rhythm.steady_rate());
    case Family::separate:
    case Family::ambiguous:
        break;
    }
    return Technique::detache;
}

Technique TechniqueReader::short_member(Hertz rate) noexcept
{
    long_ = held_ > (long_ ? long_leave : long_enter);
    loud_ = loudness_.value > limits_.spiccato_loudest.value + (loud_ ? -loudness_margin : loudness_margin);
    pace_ = pace_at(rate);
    if (long_) return Technique::detache;
    if (loud_ || pace_ == Pace::slower) return pace_ == Pace::faster ? Technique::detache : Technique::staccato;
    if (pace_ == Pace::faster) return Technique::detache;
    return pace_ == Pace::spiccato ? Technique::spiccato : Technique::sautille;
}

TechniqueReader::Pace TechniqueReader::pace_at(Hertz rate) const noexcept
{
    // Up at the first, down at the second; where the instrument's own ranges overlap, that is room for both as well.
    const auto above = [&](Hertz up, Hertz down, Pace pace) {
        return pace_ < pace ? rate > up * (1 + rate_margin) : !(rate < down * (1 - rate_margin));
    };
    if (above(limits_.sautille_fastest, limits_.sautille_fastest, Pace::faster)) return Pace::faster;
    if (above(limits_.spiccato_fastest, limits_.sautille_slowest, Pace::sautille)) return Pace::sautille;
    // A bow that bounces already goes on bouncing a little slower.
    if (pace_ < Pace::spiccato ? !(rate < limits_.spiccato_slowest) : !(rate < limits_.spiccato_slowest * (1 - 2 * rate_margin)))
        return Pace::spiccato;
    return Pace::slower;
}

Technique TechniqueReader::accented_member(Hertz rate) noexcept
{
    long_ = held_ > (long_ ? long_leave : long_enter);
    martele_ = !long_ && rate < (martele_ ? martele_leave : martele_enter) && silence_ > (martele_ ? silence_leave : silence_enter);
    return martele_ ? Technique::martele : Technique::marcato;
}

} // namespace bowarm
