#include "take/words.hpp"

#include "take/decimal.hpp"

#include <algorithm>
#include <array>

namespace bowarm
{

namespace
{

// In the order of Technique.
constexpr std::array<std::string_view, technique_count> techniques{
    "detache",
    "legato",
    "portato",
    "martele",
    "marcato",
    "staccato",
    "spiccato",
    "sautille",
    "ricochet",
    "hooked",
    "tremolo",
    "col-legno-battuto",
    "col-legno-tratto",
    "pizzicato",
    "snap-pizzicato",
    "harmonic",
    "artificial-harmonic",
    "flautando",
    "left-hand-pizzicato",
};
static_assert(techniques.back() == "left-hand-pizzicato");

constexpr std::array<std::string_view, family_count> families{"ambiguous", "slurred",        "separate",
                                                              "short",     "accented-short", "fast-repeated"};

constexpr std::array<std::string_view, 12> pitch_classes{"C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"};

struct WarningWords {
    std::string_view code;
    std::string_view before; // the number
    std::string_view after;  // and its unit
    int decimals;            // of the number; -1: it is not said
    std::string_view remedy;
};

constexpr WarningWords words_of(Warning warning)
{
    switch (warning) {
    case Warning::none:
        break;
    case Warning::hair_runs_out:
        return {"hair-runs-out", "the bow changes inside a held note or slur after ", " s", 2,
                "play softer, shorten the slur or write a bow change where it may be heard"};
    case Warning::retake_has_no_time:
        return {"retake-has-no-time", "the bow cannot be lifted and set down again in time, it needs ", " s more", 2,
                "lengthen the rest or let the stroke go on in the other direction"};
    case Warning::loudness_out_of_reach:
        return {"loudness-out-of-reach", "the loudness asked, ", " of 1, is more or less than bow and string give here", 2,
                "choose a dynamic nearer to mezzo-forte, or divide the slur so that the note has more bow"};
    case Warning::out_of_range:
        return {"out-of-range", "the note lies outside the instrument", "", -1, "transpose it or choose another instrument"};
    case Warning::not_playable_together:
        return {"not-playable-together", "", "", -1, "divide them among players, or leave one out"};
    case Warning::off_string_too_slow:
        return {"off-string-too-slow", "the bow does not bounce by itself at ", " notes a second", 1,
                "play faster or on the string, as detache or staccato"};
    case Warning::off_string_too_fast:
        return {"off-string-too-fast", "the bow cannot bounce at ", " notes a second", 1, "play slower or on the string, as detache"};
    case Warning::off_string_too_loud:
        return {"off-string-too-loud", "a bouncing bow is not this loud", "", -1, "play softer or on the string, as martele or detache"};
    case Warning::too_many_notes:
        return {"too-many-notes", "more keys are down than the player holds and the newest is left out", "", -1, "release some keys"};
    case Warning::technique_missing:
        return {"technique-missing", "the target has neither this technique nor a fallback", "", -1,
                "give the technique or a fallback in the target file"};
    case Warning::change_too_quick:
        return {"change-too-quick", "the hand needs ", " s more to pluck, to take up the bow, to turn it or to set the mute", 2,
                "lengthen the rest or divide the notes among players"};
    case Warning::col_legno:
        return {"col-legno", "the wood strikes or draws the string, which good bows do not like", "", -1,
                "warn the players in time, or allow a second bow"};
    case Warning::tremolo_too_long:
        return {"tremolo-too-long", "the arm has been shaking for ", " s without a rest", 0, "play softer, or let players take turns"};
    case Warning::ricochet_too_long:
        return {"ricochet-too-long", "the key was held for ", " s, and a thrown bow stops bouncing before", 2,
                "throw the bow again or play spiccato"};
    case Warning::pizzicato_too_fast:
        return {"pizzicato-too-fast", "fingers cannot pluck ", " notes a second", 1, "play slower or divide the notes among players"};
    case Warning::no_such_harmonic:
        return {"no-such-harmonic", "no string has a harmonic that sounds this note", "", -1, "play it stopped, or an octave higher"};
    }
    return {"none", "nothing is wrong", "", -1, "nothing to do"};
}

} // namespace

std::string_view family_word(Family family) noexcept { return families[static_cast<std::size_t>(family)]; }

std::string_view technique_word(Technique technique) noexcept { return techniques[static_cast<std::size_t>(technique)]; }

std::optional<Technique> technique_of_word(std::string_view word) noexcept
{
    const auto found = std::find(techniques.begin(), techniques.end(), word);
    if (found == techniques.end()) return std::nullopt;
    return static_cast<Technique>(found - techniques.begin());
}

std::string_view direction_word(Direction direction) noexcept { return direction == Direction::down ? "down" : "up"; }

std::string_view zone_word(ContactZone zone) noexcept
{
    switch (zone) {
    case ContactZone::sul_ponticello:
        return "sul-ponticello";
    case ContactZone::ordinary:
        break;
    case ContactZone::sul_tasto:
        return "sul-tasto";
    }
    return "ordinary";
}

std::optional<std::string_view> force_verdict_word(ForceVerdict verdict) noexcept
{
    switch (verdict) {
    case ForceVerdict::inside:
        return "inside";
    case ForceVerdict::below:
        return "below";
    case ForceVerdict::above:
        return "above";
    case ForceVerdict::not_judged:
        break;
    }
    return std::nullopt;
}

std::string_view pitch_class_word(Midi7 key) noexcept { return pitch_classes[key.get() % 12U]; }

std::string key_word(std::uint8_t key) { return std::string{pitch_class_word(Midi7::nearest(key))} + std::to_string(key / 12 - 1); }

std::string_view warning_word(Warning warning) noexcept { return words_of(warning).code; }

std::string_view unplayable_words(Unplayable why) noexcept
{
    switch (why) {
    case Unplayable::no:
        break;
    case Unplayable::out_of_range:
        return "one of these notes lies outside the instrument";
    case Unplayable::too_many_notes:
        return "these are more notes than the instrument has strings for";
    case Unplayable::same_string:
        return "these notes need the same string";
    case Unplayable::strings_apart:
        return "the bow cannot reach these notes: their strings are no neighbours";
    case Unplayable::too_wide:
        return "the stretch between these notes is too wide for the hand";
    case Unplayable::too_many_fingers:
        return "these notes need more than four fingers";
    }
    return "these notes cannot be held together";
}

std::string warning_reason(const Fact& fact)
{
    const WarningWords words = words_of(fact.warning);
    std::string sentence{fact.warning == Warning::not_playable_together ? unplayable_words(fact.unplayable) : words.before};
    if (words.decimals >= 0) sentence += decimal_text(fact.number, words.decimals);
    sentence += words.after;
    return sentence;
}

std::string_view warning_remedy(Warning warning) noexcept { return words_of(warning).remedy; }

std::string warning_sentence(const Fact& fact) { return warning_reason(fact) + "; " + std::string{warning_remedy(fact.warning)}; }

std::string reason_in_bar(Reason reason, std::int32_t bar)
{
    const std::string next = std::to_string(bar + 1);
    if (bar > 0 && reason == Reason::pickup) return "up-bow on the pickup before bar " + next;
    if (bar > 0 && reason == Reason::strokes_to_bar) return "counted so that bar " + next + " begins with a down-bow";
    return std::string{reason_words(reason)};
}

std::string_view beat_source_word(BeatSource source) noexcept
{
    switch (source) {
    case BeatSource::none:
        break;
    case BeatSource::playing:
        return "playing";
    case BeatSource::configuration:
        return "configuration";
    case BeatSource::tap:
        return "tap";
    case BeatSource::clock:
        return "clock";
    case BeatSource::file:
        return "file";
    }
    return "none";
}

std::string_view reason_words(Reason reason) noexcept
{
    switch (reason) {
    case Reason::none:
        break;
    case Reason::first_stroke:
        return "the first stroke";
    case Reason::alternates:
        return "down and up alternate";
    case Reason::same_bow_wish:
        return "the player asked for the same bow";
    case Reason::down_wish:
        return "the player asked for a down-bow";
    case Reason::up_wish:
        return "the player asked for an up-bow";
    case Reason::retake_wish:
        return "the player asked for a retake";
    case Reason::strong_beat:
        return "down-bow on the strong beat";
    case Reason::pickup:
        return "up-bow on the pickup";
    case Reason::hair_left:
        return "this direction has the hair left";
    case Reason::after_rest:
        return "a new start after a rest";
    case Reason::accent:
        return "the accent wants the frog";
    case Reason::chord:
        return "a chord wants a down-bow";
    case Reason::hooked:
        return "the short note is hooked onto the bow of the long one";
    case Reason::hair_ran_out:
        return "the hair ran out";
    case Reason::loud_start:
        return "a loud start comes down from the frog";
    case Reason::soft_start:
        return "a soft start comes up from the tip";
    case Reason::strokes_to_bar:
        return "counted so that the next bar begins with a down-bow";
    case Reason::same_figure:
        return "the same figure was bowed so before";
    case Reason::doubled:
        return "another player, who doubles it, bows it so";
    case Reason::crescendo:
        return "a crescendo goes up-bow";
    case Reason::diminuendo:
        return "a diminuendo goes down-bow";
    case Reason::final_note:
        return "a long last note takes a down-bow";
    case Reason::place_on_the_hair:
        return "such a stroke is played at this place of the bow";
    case Reason::syncopation:
        return "the long note off the beat takes the stress";
    case Reason::alternate_wish:
        return "the player asked that strokes simply alternate";
    case Reason::planned:
        return "it fits what comes after";
    }
    return "";
}

} // namespace bowarm
