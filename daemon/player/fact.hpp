// What a player decided and what happened, as codes and numbers; take/ and status/ put them into words.
//   thread   plain data.  Real-time safe: yes.
#pragma once

#include "base/quantity.hpp"
#include "base/technique.hpp"
#include "base/time.hpp"
#include "bow/hand.hpp"
#include "phrase/beat_place.hpp"

#include <array>
#include <cstdint>
#include <optional>

namespace bowarm
{

enum class FactKind : std::uint8_t {
    // note_began and stroke_began can be told again for the same number: a choice made before it could be known was mended.
    note_began,   // note, stroke, pitch, velocity, technique, string, flags
    part_ended,   // a stretch of one note on one stroke: began, at, note, stroke, direction, hair, motion
    note_ended,   // note; at = when it stops sounding at the target
    stroke_began, // stroke, direction, technique, hair_from, flags, reasons
    stroke_ended, // stroke, direction, technique, began, at, hair_from, hair_to, motion
    warning,      // warning, note, stroke, number
    repaired,     // note: a wrong choice was mended at the target
    unmended,     // note: a wrong choice stayed wrong
    bypassed,     // the arm is out
    rejoined,     // the arm is back in
};

enum class Warning : std::uint8_t {
    none,
    hair_runs_out,         // the bow changed inside a note or slur; number: seconds the note had lasted
    retake_has_no_time,    // number: seconds short
    loudness_out_of_reach, // number: loudness asked, 0..1
    out_of_range,          // the note is outside the instrument
    not_playable_together, // unplayable says why
    off_string_too_slow,   // number: notes a second
    off_string_too_fast,
    off_string_too_loud,
    too_many_notes,     // more keys than the engine holds; the newest was left out
    technique_missing,  // the target has neither the technique nor a fallback
    change_too_quick,   // of hand, hair and wood, or mute; number: seconds short
    col_legno,          // begins; good bows suffer
    tremolo_too_long,   // number: seconds without a rest
    ricochet_too_long,  // the key was held longer than the bow bounces; number: seconds
    pizzicato_too_fast, // number: notes a second
    no_such_harmonic,   // the note is played without one; number: its key
};

// The terms that decided a stroke's direction, the strongest first.
enum class Reason : std::uint8_t {
    none,
    first_stroke,
    alternates,
    same_bow_wish,
    down_wish,
    up_wish,
    retake_wish,
    strong_beat,
    pickup,
    hair_left,
    after_rest,
    accent,
    chord,
    hooked,
    hair_ran_out,
    loud_start,
    soft_start,
    strokes_to_bar,
    same_figure,
    doubled,
    crescendo,
    diminuendo,
    final_note,
    syncopation,
    place_on_the_hair,
    alternate_wish,
    planned,
};

enum class ForceVerdict : std::uint8_t { not_judged, inside, below, above };

// Time-weighted over the stretch, taken on the curve grid.
struct MotionMeans {
    MetresPerSecond speed, speed_low, speed_high;
    Newtons force, force_low, force_high;
    Beta beta, beta_low, beta_high;
    ForceVerdict verdict{ForceVerdict::not_judged}; // the worst that held for a tenth of the stretch or more
    double share_outside{0};                        // of the judged time, 0..1
};

struct BarPlace {
    std::int32_t bar{0}; // from 1; 0: unknown
    BeatSource source{BeatSource::none};
    double beat{0};       // from 1, in beats of the meter
    double confidence{0}; // 0..1
};

inline constexpr std::uint32_t no_number = 0xFFFFFFFF;
inline constexpr std::uint8_t no_string = 0xFF;
inline constexpr std::uint8_t no_place = 0xFF;

struct Fact {
    Time at;
    FactKind kind{FactKind::note_began};
    Technique technique{Technique::detache};
    Direction direction{Direction::down};
    Warning warning{Warning::none};
    std::uint8_t pitch{0};
    std::uint8_t velocity{0};
    std::uint8_t string{no_string};  // index from the lowest
    std::uint8_t stopped{no_place};  // note_began: semitones above the open string; 0: open
    std::uint8_t position{no_place}; // note_began: the hand's, as the trade counts; none on an open string and with the thumb
    std::uint8_t desk{0};            // which of the players that share the notes
    Unplayable unplayable{Unplayable::no};
    bool plucked{false};
    bool retake{false};
    bool hooked{false};
    bool slurred{false};
    bool muted{false};                       // note_began
    ContactZone zone{ContactZone::ordinary}; // note_began: wished
    std::optional<Family> read;              // note_began: of what was read from the playing; empty: the technique was chosen
    bool clean{true};                        // stroke_began: force and acceleration are in proportion for a clean start
    bool forced{false};                      // stroke_began: the hair had run out
    std::array<Reason, 3> reasons{};
    std::uint32_t note{no_number}; // order of note-ons heard, from 0
    std::uint32_t stroke{no_number};
    Time began;
    HairFraction hair_from, hair_to;
    MotionMeans motion;
    BarPlace place;
    double number{0};
};

} // namespace bowarm
