#include "studio/song_memory.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

constexpr std::int64_t clocks_a_sixteenth = 6; // MIDI 1.0
// So much a hand or a cable is early at the most.  Common practice, no source.
constexpr Duration early_at_most = milliseconds(60);
constexpr double whole_hair = 65535;
constexpr std::uint8_t technique_read = 0xFF;
constexpr std::uint8_t has_bow = 1, went_up = 2, muted = 4, alternating = 8, bypassed = 16;
constexpr std::uint8_t no_pedal = 0xFF;

std::uint8_t bit(bool on, std::uint8_t which) { return on ? which : 0; }

// What tells one pedal from another, and where its value is.
std::uint8_t number_of(const Input& pedal)
{
    return as_message(pedal).kind() == MessageKind::control_change ? pedal.data[1] : std::uint8_t{0x80};
}
std::size_t place_of_value(const Input& pedal) { return as_message(pedal).kind() == MessageKind::control_change ? 2 : 1; }

} // namespace

void LastStrokes::saw(const Fact& fact) noexcept
{
    if (fact.kind != FactKind::stroke_began || fact.plucked) return;
    if (fact.stroke != newest_) { // else it is told again
        direction_before_ = direction_;
        string_before_ = string_;
        began_ = fact.at;
        newest_ = fact.stroke;
        ++strokes_;
    }
    from_ = fact.hair_from;
    direction_ = fact.direction;
    if (fact.string != no_string) string_ = fact.string;
}

std::optional<BowStood> LastStrokes::at(Time now, const Snapshot& snapshot) const noexcept
{
    const bool just_began = strokes_ > 0 && now - began_ < early_at_most;
    if (strokes_ == 0 || (just_began && strokes_ == 1)) return std::nullopt;
    if (just_began) return BowStood{from_, direction_before_, string_before_};
    return BowStood{snapshot.hair, direction_, string_};
}

SongMemory::SongMemory(std::size_t players)
    : players_(std::make_unique_for_overwrite<Packed[]>(places * players)),
      pedals_(std::make_unique_for_overwrite<std::array<PackedPedal, 3>[]>(places))
{
}

// The first clock behind a position stands at it.
SongMoved SongMemory::hear(const Input& input) noexcept
{
    if (input.kind != InputKind::midi || input.source.number >= songs_.size()) return SongMoved::no;
    SongPlace& song = songs_[input.source.number];
    const std::int64_t before = song.clocks();
    const bool back = song.went_back(input);
    const std::int64_t now = song.clocks();
    if (back) {
        place_ = static_cast<std::size_t>(now / clocks_a_sixteenth);
        return SongMoved::went_back;
    }
    if (now != before + 1 || before % clocks_a_sixteenth != 0) return SongMoved::no;
    place_ = static_cast<std::size_t>(before / clocks_a_sixteenth);
    return place_ < places ? SongMoved::reached_a_sixteenth : SongMoved::no;
}

void SongMemory::keep(std::size_t player, const PlayerThen& then) noexcept
{
    Packed& packed = at(player);
    const BowStood bow = then.bow.value_or(BowStood{});
    packed.hair = static_cast<std::uint16_t>(std::clamp(bow.place.value, 0.0, 1.0) * whole_hair + 0.5);
    packed.string = bow.string;
    packed.technique = then.technique ? static_cast<std::uint8_t>(*then.technique) : technique_read;
    packed.bits = static_cast<std::uint8_t>(bit(then.bow.has_value(), has_bow) | bit(bow.direction == Direction::up, went_up) |
                                            bit(then.muted, muted) | bit(then.alternating, alternating) | bit(then.bypassed, bypassed));
}

void SongMemory::keep_pedals(std::span<const Input> pedals) noexcept
{
    auto& kept = pedals_[place_];
    kept.fill({no_pedal, 0});
    for (std::size_t i = 0; i < std::min(pedals.size(), kept.size()); ++i)
        kept[i] = {number_of(pedals[i]), pedals[i].data[place_of_value(pedals[i])]};
    known_.set(place_);
}

PlayerThen SongMemory::then(std::size_t player) const noexcept
{
    const Packed& packed = at(player);
    PlayerThen then;
    if ((packed.bits & has_bow) != 0)
        then.bow =
            BowStood{HairFraction{packed.hair / whole_hair}, (packed.bits & went_up) != 0 ? Direction::up : Direction::down, packed.string};
    if (packed.technique != technique_read) then.technique = static_cast<Technique>(packed.technique);
    then.muted = (packed.bits & muted) != 0;
    then.alternating = (packed.bits & alternating) != 0;
    then.bypassed = (packed.bits & bypassed) != 0;
    return then;
}

FixedVector<Input, 3> SongMemory::pedals(std::span<const Input> now) const noexcept
{
    FixedVector<Input, 3> stood;
    for (const Input& pedal : now)
        for (const PackedPedal& kept : pedals_[place_]) {
            if (kept.number != number_of(pedal) || kept.number == no_pedal) continue;
            Input then = pedal;
            then.data[place_of_value(pedal)] = kept.value;
            stood.push_back(then);
        }
    return stood;
}

} // namespace bowarm
