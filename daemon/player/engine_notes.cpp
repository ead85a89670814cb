#include "player/engine.hpp"

namespace bowarm
{
namespace
{

// How long a key may be down before a technique read as short has proved wrong.
constexpr Seconds short_at_most{0.35};
// Share of a short sample's length after which a held key is mended, before the sample has died.
constexpr double mend_before_end = 0.7;

// Notes of one bow between which the bow stands still.
bool stops_between(const NoteMeaning& note)
{
    return note.technique_chosen && (note.technique == Technique::staccato || note.technique == Technique::hooked);
}

} // namespace

// Techniques that are read from short notes, and that a long or slurred one proves wrong.
bool Engine::is_short(Technique t) noexcept
{
    return t == Technique::staccato || t == Technique::spiccato || t == Technique::sautille || t == Technique::martele ||
           t == Technique::marcato;
}

// How long a key may stay down before what was read as short is mended.
Seconds Engine::patience(const Voice& voice) noexcept
{
    const bool dies = voice.way != nullptr && !voice.way->sustains;
    return dies && voice.way->sounds_for * mend_before_end < short_at_most ? voice.way->sounds_for * mend_before_end : short_at_most;
}

bool Engine::keeps_bow(Technique technique) const noexcept
{
    switch (technique) {
    case Technique::detache:
    case Technique::legato:
    case Technique::portato:
    case Technique::staccato:
    case Technique::hooked:
    case Technique::tremolo:
    case Technique::harmonic:
    case Technique::artificial_harmonic:
    case Technique::flautando:
    case Technique::col_legno_tratto:
        return true;
    default:
        return false;
    }
}

// Whether the present stroke can go on with another note of that technique.
bool Engine::may_slur(Technique technique) const noexcept
{
    const bool shake = technique == Technique::tremolo;
    return keeps_bow(technique) && keeps_bow(stroke_.technique) && shake == bow_.shaking();
}

void Engine::key_down(const Gesture& g, Sink& sink) noexcept
{
    if (bypass_) {
        raw_key_down(g, sink);
        return;
    }
    for (const Rising& waiting : rising_) {
        if (waiting.pitch != g.pitch && target_key(waiting.pitch) != target_key(g.pitch)) continue;
        break_chord(g.at, sink);
        break;
    }
    // A key that sounds already and is struck again, by another hand or without its release, begins anew.
    free_key(g.pitch, g.at, sink);
    settle(g.at, sink);
    phrase_.key_up(g.pitch, g.at);
    if (g.pitch < config_.instrument.lowest_key || config_.instrument.highest_key < g.pitch)
        warn(Warning::out_of_range, g.at, g.pitch.get(), g.note, sink);
    if (!target_key(g.pitch)) return;

    if (phrase_.keys().empty() || !stroke_.active) velocity_loudness_ = Loudness{g.velocity.get() / 127.0};
    NoteMeaning note = phrase_.key_down(g, loudness(), person_loudness_, amount_ > 0, ahead_);
    if (foresees_ && note.connection != Connection::chord) foresee(note);
    if (!note.refused && note.connection != Connection::chord) {
        ++since_choice_;
        note = as_playable(note, g.pitch, g.at, sink);
    }
    if (note.refused || chord_notes() + raked_.size() >= sounding_limit) {
        phrase_.key_up(g.pitch, g.at);
        warn(Warning::too_many_notes, g.at, 0, g.note, sink);
        return;
    }
    ++counts_.notes;
    fade_since_.reset();
    if (note.connection != Connection::chord) low_tune_.note(g.pitch, is_low(g.pitch));
    if (!is_plucked(note.technique)) sound_all_raked(g.at, sink);
    const bool bowed = stroke_.active && !stroke_.plucked && !sounding_.empty();
    const bool joins = bowed && note.connection == Connection::chord && !is_plucked(note.technique);
    if (!joins && !rising_.empty()) break_chord(g.at, sink);
    rather_stopped_ = rather_stopped(note);
    const Company beside = bowed ? company(note, g.at, sink) : Company{};
    // A slur proves a short reading wrong; where an older note sounds on, it keeps what it sounds with.
    const bool read_wrong = stroke_.read && (!keeps_bow(stroke_.technique) || bow_.shaking());
    if (bowed && note.connection == Connection::slurred && read_wrong && !beside.note) was_long(g.at);
    if (is_plucked(note.technique))
        pluck(g, note, sink);
    else if (joins)
        join_chord(g, note, sink);
    else if (bowed && note.connection == Connection::slurred && may_slur(note.technique) && !stops_between(note))
        slur_to(g, note, beside, sink);
    else
        attack(g, note, beside, sink);
}

void Engine::attack(const Gesture& g, const NoteMeaning& note, const Company& company, Sink& sink) noexcept
{
    turn_hand(note.technique, g.at, sink);
    Bundle bundle;
    // Off the string or plucked, nothing sounds on; on it, a held voice goes through the change of bow.
    end_but(company.voice && !is_off_string(note.technique) ? company.note : std::nullopt, g, bundle, sink);
    end_held_parts(g.at, sink);
    Sounding s = make_sounding(g.pitch, g.source, g.note, g.velocity, g.at, sink);
    take_harmonic_string(note.technique, s);
    begin_stroke(g.at, note, s, sink);
    s.part.begin(g.at, bow_.place(g.at));
    begin_held_parts(g.at);
    const Voice voice = voice_of(note.technique, g.velocity, g.at, sink);
    s.channel = voice.channel;
    const bool all_anew = target_.spec().held_change == HeldChange::new_note;
    const auto anew = [&](const Sounding& held) { return all_anew || held.channel != voice.channel; };
    for (const Sounding& held : sounding_)
        if (anew(held)) target_.add_note_off(bundle, held.channel, held.key);
    target_.add_switch(bundle, voice);
    target_.add_first_values(bundle, voice.channel, bow_state(g.at), Begins::anew);
    vibrato_.note_began(g.at);
    add_vibrato(bundle, g.at);
    for (Sounding& held : sounding_) {
        if (!anew(held)) continue;
        held.channel = voice.channel;
        target_.add_note_on(bundle, held.channel, held.key, target_.spec().held_change_velocity);
    }
    sound(bundle, s, voice, start_of(s, note.accent));
    last_onset_ = g.at;
    sink.bundle(g.at, messages(bundle));
    tell_note_began(s, g.at, note.technique, false, sink);
    see(g.at);

    stroke_.revisable = is_short(note.technique) && !note.technique_chosen;
    if (stroke_.revisable) revise_at_ = g.at + to_duration(patience(voice));
}

void Engine::slur_to(const Gesture& g, const NoteMeaning& note, const Company& company, Sink& sink) noexcept
{
    const bool old_first = target_.spec().slur == SlurOrder::old_ends_before_new;
    Bundle bundle;
    free_key(g.pitch, g.at, sink);
    const std::size_t old = sounding_.size();
    Bundle ends;
    end_but(company.note, g, ends, sink);
    const bool replaces = sounding_.size() < old;
    const Technique technique = technique_over(note.technique, replaces);
    const Voice voice = voice_of(technique, g.velocity, g.at, sink);
    if (sounding_.empty()) {
        revise_at_ = Time::never();
        stroke_.revisable = false;
    }
    // A note that comes back may need the very key that one of the old notes has at the target.
    const bool comes_back = company.note && sounding_.empty();
    if (old_first || comes_back || old + 1 > sounding_limit) {
        for (const Message& m : ends) bundle.push_back(m);
        ends.clear();
    }
    const std::optional<Sounding> again = take_up(company, voice, g.at, sink);
    Sounding s = make_sounding(g.pitch, g.source, g.note, g.velocity, g.at, sink);
    take_harmonic_string(technique, s);
    s.channel = voice.channel;
    NoteStart start = start_of(s, note.accent);
    start.connected = true;
    start.since_last = to_seconds(g.at - last_onset_);
    start.leap = s.key.get() - last_key_.get();
    if (technique == Technique::portato && turn_middle_ == Time::never()) bow_.pulse(g.at, stroke_.planned);
    short_ends_at_ = Time::never();
    relaxed_since_.reset();
    stroke_.technique = technique;
    stroke_.read = note.read;
    stroke_.string = s.string;
    stroke_.slurred = true;
    const Seconds lasted = to_seconds(g.at - stroke_.began);
    if (stroke_.expected < lasted + note.expected) stroke_.expected = lasted + note.expected;
    target_.add_switch(bundle, voice);
    target_.add_first_values(bundle, voice.channel, bow_state(g.at), Begins::connected);
    if (again) {
        will_speak(voice, mended(*again, voice), std::nullopt);
        target_.add_note_on(bundle, again->channel, again->key, mended(*again, voice));
    }
    sound(bundle, s, voice, start);
    last_onset_ = g.at;
    for (const Message& m : ends) bundle.push_back(m);
    sink.bundle(g.at, messages(bundle));
    if (again) tell_note_began(*again, g.at, technique, true, sink);
    tell_note_began(s, g.at, technique, true, sink);
    see(g.at);
    slurred_at_ = g.at;
    slurred_note_ = note;
    slurred_note_.technique = technique;
    slurred_over_voice_ = company.voice && sounding_.size() == 2;
}

// Keys overlapped by so little that no slur was meant: the new note gets a bow of its own after all.
void Engine::part_by_accident(Time at, Sink& sink) noexcept
{
    const std::size_t expected = slurred_over_voice_ ? 2 : 1;
    const bool nothing_else = sounding_.size() == expected && phrase_.keys().size() == expected;
    if (!nothing_else || stroke_.plucked || turn_middle_ != Time::never()) return;
    NoteMeaning note = phrase_.was_separate(slurred_note_);
    // What the target has already; the stroke may have been revised without a switch, or a switch have come since.
    note.technique = target_.has_selected(target_.voice(stroke_.technique)) ? stroke_.technique : slurred_note_.technique;
    slurred_at_.reset();
    Sounding s = sounding_.back();
    sounding_.pop_back();
    end_held_parts(at, sink);
    silent_since_ = at; // nothing was silent before it
    begin_stroke(at, note, s, sink);
    s.part.begin(at, bow_.place(at));
    begin_held_parts(at);
    sounding_.push_back(s);
    tell_note_began(s, at, note.technique, false, sink);
    see(at);
}

// More notes have joined the stroke than were known when it was chosen: a chord may want the other direction.
void Engine::reconsider(Time at, Sink& sink) noexcept
{
    const int together = static_cast<int>(chord_notes());
    if (needs_.chord < together) needs_.chord = together;
    const Choice choice = choose(config_.instrument, needs_);
    sink.decided(stroke_.began, stroke_.first_note, needs_, choice.direction, choice.retake || stroke_.retake);
    if (choice.direction == stroke_.direction && (stroke_.retake || !choice.retake)) return;
    stroke_.direction = last_direction_ = choice.direction;
    stroke_.hooked = choice.hooked;
    if (choice.retake && !stroke_.retake) {
        stroke_.retake = true;
        ++counts_.retakes;
    }
    bow_.rest(at);
    if (choice.retake) bow_.set_down(choice.from);
    stroke_.planned = plan_at(at, stroke_.direction, stroke_.expected).motion;
    NoteMeaning note;
    note.technique = stroke_.technique;
    note.accent = stroke_.accent;
    set_moving(at, note, sounding_.back().key);
    stroke_.watch.begin(at, bow_.place(at));
    for (Sounding& s : sounding_) s.part.begin(at, bow_.place(at));
    tell_stroke_began(at, choice, false, sink);
}

void Engine::join_chord(const Gesture& g, const NoteMeaning& note, Sink& sink) noexcept
{
    Bundle bundle;
    end_older_than_chord(g, bundle, sink);
    if (joins_broken_chord(g, note, sink)) {
        if (!bundle.empty()) sink.bundle(g.at, messages(bundle));
        if (break_at_ <= g.at) break_chord(g.at, sink);
        return;
    }
    Sounding s = make_sounding(g.pitch, g.source, g.note, g.velocity, g.at, sink);
    sounding_.push_back(s);
    if (!stroke_.slurred) reconsider(g.at, sink);
    sounding_.pop_back();
    const Voice voice = voice_of(stroke_.technique, g.velocity, g.at, sink);
    s.channel = voice.channel;
    target_.add_switch(bundle, voice);
    if (sounding_.empty() || sounding_.back().channel != voice.channel)
        target_.add_first_values(bundle, voice.channel, bow_state(g.at), Begins::anew);
    sound(bundle, s, voice, start_of(s, note.accent));
    sink.bundle(g.at, messages(bundle));
    tell_note_began(s, g.at, stroke_.technique, false, sink);
    see(g.at);
    if (break_at_ <= g.at) break_chord(g.at, sink);
}

void Engine::key_up(const Gesture& g, Sink& sink) noexcept
{
    if (raw_key_up(g, sink)) {
        if (raw_.empty() && sounding_.empty()) apply_waiting_bypass(g.at, sink);
        return;
    }
    const std::optional<HeldKey> up = phrase_.key_up(g);
    if (!up) return;
    if (let_go_raked(up->note)) return;
    judge_throw(*up, g.at, sink);
    const std::size_t index = index_of(up->note);
    const bool silent = index == sounding_.size();
    const bool newest = index + 1 == sounding_.size();
    const bool older = slurred_at_ && !newest && up->since < *slurred_at_;
    if (older && phrase_.was_accident(to_seconds(g.at - up->since), to_seconds(g.at - *slurred_at_))) {
        if (!silent) end_note(index, g.at, sink);
        part_by_accident(g.at, sink);
        return;
    }
    if (keeps_sounding(*up, index, g.at) || silent) return;

    const HeldKey* back = stroke_.plucked || !may_slur(stroke_.technique) ? nullptr : returning(*up);
    if (back != nullptr) {
        Company beside;
        if (sounding_.size() == 2) beside.note = sounding_[1 - index].note;
        return_to(*back, beside, g.at, sink);
        return;
    }
    end_note(index, g.at, sink);
    fall_silent(g.at, sink);
}

// What follows the end of a note, when it was the last.
void Engine::fall_silent(Time at, Sink& sink) noexcept
{
    settle(at, sink);
    if (!sounding_.empty() || !raked_.empty()) return;
    if (stroke_.plucked)
        end_stroke(at, sink);
    else
        let_go(at);
    apply_waiting_bypass(at, sink);
}

// The upper key of a slur came up while the lower one stayed down: the bow goes on with the lower note.
void Engine::return_to(const HeldKey& key, const Company& company, Time at, Sink& sink) noexcept
{
    Gesture g;
    g.at = at;
    g.kind = GestureKind::key_down;
    g.pitch = key.pitch;
    g.source = key.source;
    g.velocity = key.velocity;
    g.note = key.note;
    NoteMeaning note;
    note.connection = Connection::slurred;
    note.technique = stroke_.technique == Technique::detache ? Technique::legato : stroke_.technique;
    note.expected = stroke_.expected;
    if (stroke_.read) note.read = Family::slurred;
    slur_to(g, note, company, sink);
    slurred_at_.reset(); // no key was struck that could have been meant to be separate
}

// The bow goes on as in a long note, though a short technique was read.
void Engine::was_long(Time at) noexcept
{
    stroke_.revisable = false;
    const bool anew = is_off_string(stroke_.technique) || bow_.shaking();
    stroke_.technique = Technique::detache;
    stroke_.planned = plan_at(at, stroke_.direction, remaining(at)).motion;
    if (anew)
        bow_.begin(at, stroke_.direction, attack_for(at, sounding_.back().key), stroke_.planned);
    else
        bow_.follow(at, stroke_.planned);
}

// A short technique was read, but the key stays down: the note is a long one after all.
void Engine::revise(Time at, Sink& sink) noexcept
{
    revise_at_ = Time::never();
    if (!stroke_.revisable || sounding_.empty()) return;
    const Voice wrong = target_.voice(stroke_.technique);
    was_long(at);
    if (sounding_.size() > 2 && breaks_chords()) break_chord(at, sink);
    if (wrong.way == nullptr || wrong.way->sustains) return;
    switch (wrong.way->repair) {
    case Repair::none:
        tell(FactKind::unmended, at, sounding_.back().note, sink);
        return;
    case Repair::controller_fade:
        fade_since_ = at;
        break;
    case Repair::sound_again: {
        Bundle bundle;
        const Voice right = voice_of(Technique::detache, sounding_.back().velocity, at, sink);
        slurred_note_.technique = Technique::detache;
        for (const Sounding& s : sounding_) target_.add_note_off(bundle, s.channel, s.key);
        target_.add_switch(bundle, right);
        target_.add_first_values(bundle, right.channel, bow_state(at), Begins::anew);
        for (Sounding& s : sounding_) {
            s.channel = right.channel;
            will_speak(right, mended(s, right), std::nullopt);
            target_.add_note_on(bundle, s.channel, s.key, mended(s, right));
        }
        sink.bundle(at, messages(bundle));
        break;
    }
    case Repair::release_switch: {
        Bundle bundle;
        target_.add_switch(bundle, voice_of(Technique::detache, sounding_.back().velocity, at, sink));
        if (!bundle.empty()) sink.bundle(at, messages(bundle));
        break;
    }
    }
    tell(FactKind::repaired, at, sounding_.back().note, sink);
}

} // namespace bowarm
