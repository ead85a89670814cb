#include "phrase/technique_reader.hpp"

namespace bowarm
{
namespace
{

// Each limit is passed beyond its margin, so that a line at it never flickers; the first time, at the limit itself.
constexpr Limit long_note{0.35, 0.08}; // s held: about as long as short sounds last
constexpr double loudness_margin = 0.06;
constexpr double rate_margin = 0.12;      // of a rate
constexpr Limit martele_rate{4.0, 0.5};   // notes a second
constexpr Limit stop_between{0.11, 0.03}; // s of silence
constexpr double follow = 0.3;            // share of the newest note

} // namespace

Reading TechniqueReader::read(const Onset& onset, Loudness wanted, const Rhythm& rhythm, const Ahead& ahead) noexcept
{
    hear(rhythm.newest(), wanted);
    const Family family = families_.read(onset, rhythm, ahead);
    return {family, member(family, rhythm)};
}

Reading TechniqueReader::read_parted(const Rhythm& rhythm, const Ahead& ahead) noexcept
{
    const Family family = families_.read_parted(ahead);
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
    const bool is_long = long_.above(held_.value, long_note);
    const bool loud = loud_.above(loudness_.value, {limits_.spiccato_loudest.value, loudness_margin});
    const auto rate_limit = [](Hertz limit) { return Limit{limit.value, limit.value * rate_margin}; };
    const bool bounces = bounces_.above(rate.value, rate_limit(limits_.spiccato_slowest));
    // Where the instrument's ranges of spiccato and sautille overlap, the change lies in the middle.
    const bool by_itself = by_itself_.above(rate.value, rate_limit((limits_.spiccato_fastest + limits_.sautille_slowest) / 2));
    const bool too_fast = too_fast_.above(rate.value, rate_limit(limits_.sautille_fastest));
    if (is_long || too_fast) return Technique::detache;
    if (loud || !bounces) return Technique::staccato;
    return by_itself ? Technique::sautille : Technique::spiccato;
}

Technique TechniqueReader::accented_member(Hertz rate) noexcept
{
    const bool is_long = long_.above(held_.value, long_note);
    const bool quick = quick_.above(rate.value, martele_rate);
    const bool stops = stops_.above(silence_.value, stop_between);
    return is_long || quick || !stops ? Technique::marcato : Technique::martele;
}

} // namespace bowarm
