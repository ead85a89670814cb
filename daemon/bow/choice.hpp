// Where the bow goes next: down or up, from where it is or set down anew.
//   One table of costs; the cheapest candidate wins, ties go to the earlier one (down before up, stay before retake).
//   in       what is known at the onset, and what is expected
//   out      direction, retake, where the stroke begins, and the terms that decided
//   thread   any, pure.  Real-time safe: yes.
//   Errors   a retake asked for that does not fit in the rest is not made; Choice::retake_short says by how much.
#pragma once

#include "base/technique.hpp"
#include "bow/instrument.hpp"
#include "phrase/beat_place.hpp"

#include <array>
#include <cstdint>
#include <optional>

namespace bowarm
{

// A term of the cost table; what it costs and which practice it stands for is in choice.cpp.
enum class Term : std::uint8_t {
    alternation,
    strong_beat,
    pickup,
    arrival,
    count_ahead,
    figure,
    doubled,
    swell,
    final_note,
    syncopation,
    place,
    hair,
    accent,
    loud_start,
    soft_start,
    hook,
    chord,
    retake_effort,
    wish,
    retake_wish,
    same_bow,
    alternate_wish,
    plan,
    count,
};

enum class Swell : std::uint8_t { none, growing, fading };

struct ChoiceNeeds {
    bool first{false};             // the bow is in the air: any place will do
    Direction last{Direction::up}; // of the stroke before
    HairFraction place;            // where the bow is
    Seconds since_last;            // since the stroke before began
    Seconds gap;                   // of silence since the stroke before
    Seconds expected;              // of the new stroke
    bool stays{false};             // strokes to and fro at one place
    bool length_known{false};      // false: it may be anything, so begin where a whole bow is left
    MetresPerSecond speed;         // it would like
    MetresPerSecond slowest;       // it can bear
    double accent{1};
    Loudness loudness;
    int chord{1}; // notes that sound together
    BeatPlace beat;
    bool arrives{false};           // the first strong beat since the group began; known with hindsight only
    std::int32_t strokes_ahead{0}; // expected before the next strong beat, this one counted
    double ahead_confidence{0};    // 0..1; 0: unknown, and with hindsight, which sees that beat itself
    bool fresh{false};             // a new group begins here without a rest: the loudness has jumped
    Swell swell{Swell::none};
    bool leads_on{false};   // a short start alone between rests, before a longer one: its pickup; known with hindsight only
    bool final_long{false}; // a long last note, of the piece or before a long rest; known with hindsight only
    Seconds lift_after;
    bool same_bow{false};
    bool short_after_long{false};     // the short note of a dotted figure
    HairFraction preferred{0.45};     // the place on the hair where such strokes are played, by their middle
    Midi7 pitch;                      // of its first note
    bool low{false};                  // on one of the two lowest strings
    bool weighty{false};              // loud, separate, not too short, on the string: it could be struck at the frog
    bool heavy_at_frog{false};        // worth a retake to the frog for each stroke where there is time
    bool low_tune{false};             // weighty, in a tune that stays on the low strings: struck down again and again
    HairFraction room_needed;         // a stroke does not begin with less hair ahead
    std::optional<Direction> figure;  // how the same figure was bowed before
    double figure_confidence{0.25};   // 0..1; live knows only the last time at this place of the bar
    std::optional<Direction> doubled; // how another player who doubles this stroke bows it; known with hindsight only
    std::optional<Direction> wish;
    bool retake_wish{false};
    bool keep_on_string{false};       // wished: the bow goes on from where it stands
    bool alternate{false};            // wished: down and up alternate, whatever practice says
    std::optional<Direction> planned; // settled beforehand, when the future was known; a wish is stronger
    bool planned_retake{false};
    bool automatic{true}; // false: no retakes but wished and planned ones
};

// A rest or a jump in loudness comes before it.
inline bool begins_group(const ChoiceNeeds& n) { return n.first || n.fresh || n.gap >= n.lift_after; }

struct Choice {
    Direction direction{Direction::down};
    bool retake{false};
    bool hooked{false}; // the same direction, from where the bow stands
    HairFraction from;
    std::array<Term, 3> decided{Term::count, Term::count, Term::count}; // the strongest first; count: none
    Seconds retake_short;                                               // above 0: a wished retake had this much too little time
};

Choice choose(const Instrument& instrument, const ChoiceNeeds& needs) noexcept;

// One way to go on, with what it costs.
struct BowOption {
    Direction direction{Direction::down};
    bool retake{false};
    HairFraction from;
    double cost{0};
};
// Every way that is possible; choose() takes the cheapest.
FixedVector<BowOption, 4> bow_options(const Instrument& instrument, const ChoiceNeeds& needs) noexcept;

// Time to lift, travel so far through the air, and set down.
Seconds retake_time(const Instrument& instrument, HairFraction distance) noexcept;
// Where a stroke that is to be played about the preferred place begins; length as a share of the hair.
HairFraction starting_place(Direction direction, HairFraction preferred, HairFraction length) noexcept;

} // namespace bowarm
