#include "phrase/technique_reader.hpp"

namespace bowarm
{
namespace
{

// Each pair is entered at the first and left at the second, so that a line never flickers.
constexpr double short_enter = 0.52, short_leave = 0.66;          // held share of the interval
constexpr Seconds short_time_enter{0.30}, short_time_leave{0.40}; // longest held time
constexpr double rate_leave_share = 0.85;                         // of the slowest rate
constexpr double loudness_margin = 0.06;
constexpr double heavy_accent = 1.25;

} // namespace

Technique TechniqueReader::read(bool slurred, const Rhythm& rhythm, Loudness loudness, double accent) noexcept
{
    if (slurred) return Technique::legato;
    if (rhythm.separate_notes() == 0) {
        short_notes_ = off_string_ = false;
        return Technique::detache;
    }
    const double share = rhythm.held_share();
    const Seconds held = rhythm.held_time();
    short_notes_ = short_notes_ ? share < short_leave && held < short_time_leave : share < short_enter && held < short_time_enter;
    const Hertz slowest = off_string_ ? limits_.spiccato_slowest * rate_leave_share : limits_.spiccato_slowest;
    const double loudest = limits_.spiccato_loudest.value + (off_string_ ? loudness_margin : 0.0);
    off_string_ = short_notes_ && rhythm.rate() >= slowest && loudness.value <= loudest;
    if (!short_notes_) return Technique::detache;
    return off_string_ && accent < heavy_accent ? Technique::spiccato : Technique::staccato;
}

} // namespace bowarm
