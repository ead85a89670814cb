#include "player/engine.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

// Notes of a portato that stand no farther apart are in one bow.  Common practice, no source.
constexpr Seconds portato_gap{0.12};
// How a marcato relaxes.  Common practice, no source.
constexpr Duration relaxing = milliseconds(80);
constexpr double relaxed_share = 0.4;
constexpr Seconds hooked_gap{0.6}; // of silence that parts two figures
// Before so many notes have been played with a chosen technique, the tempo heard is that of what was played before.
constexpr int notes_of_a_tempo = 4;
// A pair of hooked notes: the first is the longer one, or as long.
constexpr double longer = 1.1;
constexpr double shorter = 0.9;
constexpr Seconds arm_rested{1}; // between two tremolos that tire the arm as one
constexpr double loud_shake_rate = 0.85;
// A thrown bow has come to rest long before.  Common practice, no source.
constexpr Seconds throw_held{1.2};
constexpr Seconds thrown_ring{0.12}; // of the last touch, where each is a note of its own

} // namespace

// What a player would really do where the technique asked for cannot be played.
NoteMeaning Engine::as_playable(const NoteMeaning& note, Midi7 pitch, Time at, Sink& sink) noexcept
{
    // What was read has kept to the instrument's limits already, with a margin that keeps a line from flickering.
    if (!note.technique_chosen) {
        gave_way_ = GivesWay::no;
        return note;
    }
    return is_harmonic(note.technique) ? as_harmonic(note, pitch, at, sink) : as_bounced(note, at, sink);
}

// Zero: nothing was played yet with the chosen technique that tells it.
Hertz Engine::rate_since_choice() const noexcept { return since_choice_ >= notes_of_a_tempo ? phrase_.rate() : Hertz{0}; }

// A bouncing stroke outside its region; said once, not at every note.
NoteMeaning Engine::as_bounced(const NoteMeaning& note, Time at, Sink& sink) noexcept
{
    const Hertz rate = rate_since_choice();
    const OffString fit = fitting_bounce(config_.instrument, note.technique, rate, loudness());
    if (fit.why != GivesWay::no && fit.why != gave_way_) {
        const Warning warning = fit.why == GivesWay::too_slow   ? Warning::off_string_too_slow
                                : fit.why == GivesWay::too_fast ? Warning::off_string_too_fast
                                                                : Warning::off_string_too_loud;
        warn(warning, at, fit.why == GivesWay::too_loud ? loudness().value : rate.value, no_number, sink);
    }
    gave_way_ = fit.why;
    NoteMeaning played = note;
    played.technique = fit.technique;
    return played;
}

NoteMeaning Engine::as_harmonic(const NoteMeaning& note, Midi7 pitch, Time at, Sink& sink) noexcept
{
    NoteMeaning played = note;
    played.technique = fitting_harmonic(config_.instrument, note.technique, target_key(pitch).value_or(pitch)).technique;
    if (!is_harmonic(played.technique)) warn(Warning::no_such_harmonic, at, pitch.get(), no_number, sink);
    return played;
}

void Engine::take_harmonic_string(Technique technique, Sounding& note) const noexcept
{
    if (!is_harmonic(technique)) return;
    const Harmonic h = fitting_harmonic(config_.instrument, technique, note.key);
    if (h.string) note.string = *h.string;
}

// The right hand turns to what the next note needs, and a mute is set or taken off; live never waits for them.
void Engine::turn_hand(Technique technique, Time at, Sink& sink) noexcept
{
    const std::optional<RightHand> wanted = right_hand_of(technique);
    Seconds needed{0};
    if (wanted && right_hand_) needed = change_time(*right_hand_, *wanted);
    if (mute_moves_ && right_hand_ && needed < mute_time(muted_)) needed = mute_time(muted_);
    const bool bows_on = stroke_.active && !stroke_.plucked && !sounding_.empty();
    const Seconds had = bows_on ? Seconds{0} : to_seconds(at - hand_busy_until_);
    if (needed > had) warn(Warning::change_too_quick, at, (needed - had).value, no_number, sink);
    if (wanted == RightHand::wood && right_hand_ != RightHand::wood) warn(Warning::col_legno, at, 0, no_number, sink);
    mute_moves_ = false;
    if (wanted) right_hand_ = wanted;
}

// Said once, until the fingers have kept up again.
void Engine::judge_pluck_rate(Technique technique, Time at, Sink& sink) noexcept
{
    const Hertz rate = rate_since_choice();
    const bool too_fast = rate > fastest_pluck(config_.instrument, technique);
    if (too_fast && !pluck_rate_told_) warn(Warning::pizzicato_too_fast, at, rate.value, no_number, sink);
    pluck_rate_told_ = too_fast;
}

void Engine::judge_tremolo(Time at, Sink& sink) noexcept
{
    if (!shaken_until_ || to_seconds(at - *shaken_until_) > arm_rested) {
        shaking_since_ = at;
        shaking_told_ = false;
    }
    shaken_until_ = at;
    const Seconds lasted = to_seconds(at - shaking_since_);
    if (shaking_told_ || lasted < longest_tremolo(loudness())) return;
    shaking_told_ = true;
    warn(Warning::tremolo_too_long, at, lasted.value, no_number, sink);
}

void Engine::judge_throw(const HeldKey& up, Time at, Sink& sink) noexcept
{
    const Seconds held = to_seconds(at - stroke_.began);
    const bool thrown = stroke_.technique == Technique::ricochet && !stroke_.plucked && up.note == stroke_.first_note;
    if (thrown && held > throw_held) warn(Warning::ricochet_too_long, at, held.value, up.note, sink);
}

// When the stroke's notes end, where the chosen technique makes them shorter than their keys: by the tempo of the notes before,
// else by the beat that was told; the next note ends it in any case.
Time Engine::end_of_short(const NoteMeaning& note, Time at) const noexcept
{
    if (!note.technique_chosen) return Time::never();
    // A short sample of a bounce rings as long as it was recorded; on the string the bow says when it stops.
    const Voice voice = target_.voice(note.technique);
    if (is_off_string(note.technique) && voice.way != nullptr && !voice.way->sustains) return Time::never();
    const bool heard = note.rhythm_known && since_choice_ > 1;
    const Seconds interval = heard ? note.expected : phrase_.quarter(at);
    const std::optional<Seconds> length = note_length(note.technique, interval);
    return length ? at + to_duration(*length) : Time::never();
}

// A short note ends here.  A marcato relaxes instead, which leaves a space before the next one: should its key prove it to be a long
// note, it is not lost.
void Engine::end_of_length(Time at, Sink& sink) noexcept
{
    if (stroke_.technique != Technique::marcato) {
        end_short(at, sink);
        return;
    }
    short_ends_at_ = Time::never();
    relaxed_since_ = at;
}

// What is left of the loudness.
double Engine::relaxed(Time at) const noexcept
{
    if (!relaxed_since_) return 1;
    const double u = static_cast<double>((at - *relaxed_since_).ns) / static_cast<double>(relaxing.ns);
    return between(1, relaxed_share, smooth_rise(u));
}

// The notes of a short stroke end under keys that are still down; a voice held from before sounds on.
void Engine::end_short(Time at, Sink& sink) noexcept
{
    short_ends_at_ = Time::never();
    for (std::size_t i = sounding_.size(); i > 0; --i)
        if (sounding_[i - 1].note >= stroke_.first_note) end_note(i - 1, at, sink);
    if (!sounding_.empty()) return;
    let_go(at);
    ended_by_arm_ = true;
    apply_waiting_bypass(at, sink);
}

// Several notes in one bow with the bow stopped between them: keys that overlap, or the pairs of a hooked figure.
bool Engine::goes_on_in_bow(const NoteMeaning& note, Time at) const noexcept
{
    if (bow_in_air_ || !note.technique_chosen) return false;
    const bool slurred = note.connection == Connection::slurred;
    switch (note.technique) {
    case Technique::staccato:
        return slurred;
    case Technique::portato:
        return slurred || (stroke_.technique == Technique::portato && note.gap < portato_gap);
    case Technique::hooked: {
        if (slurred) return true;
        if (stroke_.technique != Technique::hooked || note.gap >= hooked_gap) return false;
        if (since_choice_ <= notes_of_a_tempo) return !second_of_pair_;
        const double last = to_seconds(at - stroke_.began) / note.expected;
        return last > longer || (last > shorter && !second_of_pair_);
    }
    default:
        return false;
    }
}

// Measured where the tempo is known and the configuration asks for it; else as fast as the hand shakes, slower when loud.
Seconds Engine::small_stroke(Time at) const noexcept
{
    const Seconds quarter = phrase_.quarter(at);
    if (config_.tremolo_per_quarter > 0 && quarter > Seconds{0}) return quarter / config_.tremolo_per_quarter;
    const double slower = between(1.0, loud_shake_rate, loudness().value);
    return Seconds{1 / (config_.instrument.tremolo_rate.value * slower)};
}

// A thrown bow touches again: where the sampler has no such stroke of its own, each touch is a note, and the last one ends by itself.
void Engine::throw_contact(Time at, Sink& sink) noexcept
{
    const Voice voice = target_.voice(stroke_.technique);
    const bool of_its_own = voice.technique == Technique::ricochet || voice.way == nullptr;
    const Seconds lasted = to_seconds(at - stroke_.began);
    if (stroke_.thrown == thrown_contacts) {
        const Contact last = ricochet_contact(bouncing_bow(config_.instrument), thrown_interval, thrown_contacts - 1);
        if (!of_its_own && lasted >= last.at + thrown_ring) end_short(at, sink);
        return;
    }
    const Contact c = ricochet_contact(bouncing_bow(config_.instrument), thrown_interval, stroke_.thrown);
    if (sounding_.empty() || lasted < c.at) return;
    ++stroke_.thrown;
    if (of_its_own) return;
    Bundle bundle;
    for (const Sounding& s : sounding_) target_.add_note_off(bundle, s.channel, s.key);
    target_.add_first_values(bundle, sounding_.back().channel, bow_state(at), Begins::connected);
    for (const Sounding& s : sounding_)
        target_.add_note_on(bundle, s.channel, s.key, Midi7::nearest(1 + nearest(s.velocity.get() * c.force)));
    sink.bundle(at, messages(bundle));
}

} // namespace bowarm
