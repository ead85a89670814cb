// The trade's words for how the bow is used, as codes; take/words.hpp has the words.
#pragma once

#include <cstdint>

namespace bowarm
{

enum class Technique : std::uint8_t {
    detache,
    legato,
    portato,
    martele,
    marcato,
    staccato,
    spiccato,
    sautille,
    ricochet,
    hooked,
    tremolo,
    col_legno_battuto,
    col_legno_tratto,
    pizzicato,
    snap_pizzicato,
    harmonic, // natural
    artificial_harmonic,
    flautando,
    left_hand_pizzicato,
};
inline constexpr int technique_count = 19;

constexpr bool is_plucked(Technique t)
{
    return t == Technique::pizzicato || t == Technique::snap_pizzicato || t == Technique::left_hand_pizzicato;
}
// The bow leaves the string after each note.
constexpr bool is_off_string(Technique t)
{
    return t == Technique::spiccato || t == Technique::sautille || t == Technique::ricochet || t == Technique::col_legno_battuto;
}

// What keys can tell of the bow: how the notes of a line hang together and how they begin.  Tempo and loudness then choose
// among the family's techniques the one that a player would use.
enum class Family : std::uint8_t {
    ambiguous,      // not known yet, or in between: played as separate, which a note-off can end at any time
    slurred,        // reached from a key that was still down
    separate,       // a stroke a note, held nearly to the next
    short_notes,    // with silence after each
    accented_short, // shortened by less, and harder than the notes around them
    fast_repeated,  // one pitch, quicker than strokes are counted
};
inline constexpr int family_count = 6;

// Where between bridge and fingerboard the bow is, as players name it.
enum class ContactZone : std::uint8_t { sul_ponticello, ordinary, sul_tasto };

// Down: from frog to tip. Up: from tip to frog.
enum class Direction : std::uint8_t { down, up };
constexpr Direction opposite(Direction d) { return d == Direction::down ? Direction::up : Direction::down; }
constexpr double sign(Direction d) { return d == Direction::down ? 1.0 : -1.0; }

} // namespace bowarm
