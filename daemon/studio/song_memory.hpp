// How the bows stood, and what was switched, at each place of a song when a sequencer ran over it last: so that a pass that begins in the
// middle can begin like the one before it.
//   in       clocks, start, continue and song position of every input; the state of each player whenever a sixteenth is reached
//   out      the state at the place to which the song went back
//   Of a stroke that began just before a sixteenth is reached, a hand or a cable was early: what counts is how the bow stood before it.
//   thread   the engine's.  Real-time safe: all but the constructor; its memory is there from the start and is used as the song goes on.
//   Errors   none: a place that no pass has covered is not known.
#pragma once

#include "hear/hands.hpp"
#include "player/player.hpp"
#include "take/take_controls.hpp"

#include <array>
#include <bitset>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>

namespace bowarm
{

// How the bow of one player stood.
struct BowStood {
    HairFraction place;
    Direction direction{Direction::down}; // of the stroke before
    std::uint8_t string{0};
};

class LastStrokes
{
public:
    void saw(const Fact& fact) noexcept;
    // As of this moment; empty: nothing has been bowed.
    std::optional<BowStood> at(Time now, const Snapshot& snapshot) const noexcept;

private:
    std::uint32_t strokes_{0};
    std::uint32_t newest_{no_number};
    Time began_;
    HairFraction from_;
    Direction direction_{Direction::down}, direction_before_{Direction::down};
    std::uint8_t string_{0}, string_before_{0};
};

struct PlayerThen {
    std::optional<BowStood> bow;
    std::optional<Technique> technique; // chosen; empty: it was read from the playing
    bool muted{false}, alternating{false}, bypassed{false};
};

enum class SongMoved : std::uint8_t { no, reached_a_sixteenth, went_back };

class SongMemory
{
public:
    explicit SongMemory(std::size_t players);

    SongMoved hear(const Input& input) noexcept;

    // Of the place that was reached; all players, then the pedals.
    void keep(std::size_t player, const PlayerThen& then) noexcept;
    void keep_pedals(std::span<const Input> pedals) noexcept;
    // Of the place that the song went back to.
    bool is_known() const noexcept { return place_ < places && known_[place_]; }
    PlayerThen then(std::size_t player) const noexcept;
    // As they stood; of those that are given the ones that were there.
    FixedVector<Input, 3> pedals(std::span<const Input> now) const noexcept;

private:
    static constexpr std::size_t places = 16384; // MIDI 1.0: song position has 14 bits
    struct Packed {
        std::uint16_t hair;
        std::uint8_t string, technique, bits;
    };
    struct PackedPedal {
        std::uint8_t number, value;
    };
    Packed& at(std::size_t player) const noexcept { return players_[player * places + place_]; }

    std::array<SongPlace, inputs_at_most> songs_;
    std::size_t place_{0};
    std::bitset<places> known_;
    std::unique_ptr<Packed[]> players_;
    std::unique_ptr<std::array<PackedPedal, 3>[]> pedals_;
};

} // namespace bowarm
