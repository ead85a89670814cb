#include "bow/hand.hpp"

#include "base/arithmetic.hpp"

#include <array>

namespace bowarm
{
namespace
{

constexpr int first_position = 2;
constexpr int back_reach = 1; // the first finger reaches back that far.  Common practice, no source
constexpr int fingers = 4;

bool uses_thumb(const Instrument& instrument, int semitones) { return instrument.thumb_from > 0 && semitones >= instrument.thumb_from; }

// Semitones from the first finger to the fourth: as many as in the first position, since the frame is kept as the hand goes up.
bool in_frame(const Instrument& instrument, int width)
{
    if (width <= 0) return true;
    const Metres first = from_nut(instrument, first_position);
    return width <= instrument.widest_stretch && from_nut(instrument, first_position + width) - first <= instrument.hand_frame;
}

int frame(const Instrument& instrument)
{
    int width = 0;
    while (in_frame(instrument, width + 1)) ++width;
    return width;
}

} // namespace

Metres from_nut(const Instrument& instrument, int semitones) noexcept
{
    return instrument.string_length * (1 - power_of_two(-semitones / 12.0));
}

bool within_reach(const Instrument& instrument, HandPlace hand, int semitones) noexcept
{
    return semitones == 0 || (semitones >= hand.first - back_reach && in_frame(instrument, semitones - hand.first));
}

HandPlace moved_to(const Instrument& instrument, HandPlace hand, int semitones) noexcept
{
    if (within_reach(instrument, hand, semitones)) return hand;
    if (semitones < hand.first) return {semitones < first_position ? first_position : semitones};
    return {semitones - frame(instrument)};
}

Unplayable hold(const Instrument& instrument, std::span<const Stop> notes) noexcept
{
    int lowest = 0;
    int highest = 0;
    int needed = 0;
    for (const Stop& note : notes) {
        if (note.semitones == 0) continue;
        if (lowest == 0 || note.semitones < lowest) lowest = note.semitones;
        if (note.semitones > highest) highest = note.semitones;
        bool shared = false;
        for (const Stop& other : notes) shared = shared || (other.semitones == note.semitones && other.string + 1 == note.string);
        if (!shared) ++needed;
    }
    const bool stretches = from_nut(instrument, highest) - from_nut(instrument, lowest) <= instrument.hand_span;
    if (!stretches && !uses_thumb(instrument, lowest)) return Unplayable::too_wide;
    if (highest - lowest > instrument.widest_stretch) return Unplayable::too_wide;
    return needed > fingers ? Unplayable::too_many_fingers : Unplayable::no;
}

std::optional<std::uint8_t> position_number(const Instrument& instrument, HandPlace hand) noexcept
{
    constexpr std::array<int, 12> step_of_scale{0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6};
    if (uses_thumb(instrument, hand.first)) return std::nullopt;
    return static_cast<std::uint8_t>(step_of_scale[static_cast<std::size_t>(hand.first % 12)] + 7 * (hand.first / 12));
}

} // namespace bowarm
