#include "player/engine.hpp"

namespace bowarm
{
namespace
{

// A quick chord is broken more quickly: at most this share of what it is expected to last.  Common practice, no source.
constexpr double share_of_the_note = 0.3;

} // namespace

// Short chords are struck on all strings at once, and so is what a shaken or bouncing bow plays; a section divides its chords.
bool Engine::breaks_chords() const noexcept
{
    if (config_.chord_break <= Seconds{0} || config_.target.section || config_.desks > 1) return false;
    switch (stroke_.technique) {
    case Technique::detache:
    case Technique::legato:
    case Technique::portato:
    case Technique::hooked:
    case Technique::col_legno_tratto:
        return true;
    default:
        return false;
    }
}

// Counted from the highest of those that sound or wait.
std::size_t Engine::place_in_chord(Midi7 pitch) const noexcept
{
    std::size_t higher = 0;
    for (const Sounding& s : sounding_) higher += pitch < s.pitch ? 1 : 0;
    for (const Rising& r : rising_) higher += pitch < r.pitch ? 1 : 0;
    return higher;
}

// The bow takes the lower notes first.  True when the new note waits for it to come over.
bool Engine::joins_broken_chord(const Gesture& g, const NoteMeaning& note, Sink& sink) noexcept
{
    const std::size_t notes = chord_notes() + 1;
    if (notes < 3 || !breaks_chords()) return false;
    const Seconds quick = stroke_.expected * share_of_the_note;
    break_at_ = phrase_.group_onset() + to_duration(quick < config_.chord_break ? quick : config_.chord_break);
    if (!comes_after_the_break(place_in_chord(g.pitch), notes) || rising_.full()) return false;
    warn_unplayable(new_trouble(target_key(g.pitch).value_or(g.pitch)), g.at, g.note, sink);
    rising_.push_back({g.pitch, g.source, g.note, g.velocity, note.accent, false});
    if (!stroke_.slurred) reconsider(g.at, sink);
    return true;
}

// The bow comes over: what waited begins, and all but the two highest end.
void Engine::break_chord(Time at, Sink& sink) noexcept
{
    break_at_ = Time::never();
    const bool old_first = target_.spec().slur == SlurOrder::old_ends_before_new;
    const FixedVector<Rising, 2> up = rising_;
    Bundle bundle;
    Bundle ends;
    leave_lower(ends, at, sink);
    rising_.clear();
    if (old_first || up.empty()) {
        for (const Message& m : ends) bundle.push_back(m);
        ends.clear();
    }
    for (const Rising& note : up) free_key(note.pitch, at, sink);
    const std::size_t first = sounding_.size();
    for (const Rising& note : up) raise(bundle, note, at, sink);
    for (const Message& m : ends) bundle.push_back(m);
    if (!bundle.empty()) sink.bundle(at, messages(bundle));
    for (std::size_t i = first; i < sounding_.size(); ++i) tell_note_began(sounding_[i], at, stroke_.technique, false, sink);
    if (!sounding_.empty()) stroke_.string = sounding_.back().string;
    see(at);
}

void Engine::leave_lower(Bundle& bundle, Time at, Sink& sink) noexcept
{
    FixedVector<std::size_t, sounding_limit> lower;
    for (std::size_t i = 0; i < sounding_.size(); ++i)
        if (!stays(place_in_chord(sounding_[i].pitch))) lower.push_back(i);
    for (std::size_t n = lower.size(); n > 0; --n) {
        const Sounding s = sounding_[lower[n - 1]];
        target_.add_note_off(bundle, s.channel, s.key);
        sounding_.erase_at(lower[n - 1]);
        phrase_.was_left(s.note);
        tell_part_ended(s, at, sink);
        tell(FactKind::note_ended, at, s.note, sink);
    }
}

void Engine::raise(Bundle& bundle, const Rising& note, Time at, Sink& sink) noexcept
{
    const Voice voice = voice_of(stroke_.technique, note.velocity, at, sink);
    Sounding s = without_string(note.pitch, note.source, note.note, note.velocity, at);
    s.channel = voice.channel;
    target_.add_switch(bundle, voice);
    target_.add_first_values(bundle, voice.channel, bow_state(at), Begins::connected);
    put_on_string(s);
    s.least = at + to_duration(config_.chord_break);
    if (note.up) s.until = s.least;
    sound(bundle, s, voice, start_of(s, note.accent));
}

// The upper notes of a chord sound for as long as the lower ones did, even where the keys come up before.
bool Engine::keeps_sounding(const HeldKey& up, std::size_t index, Time at) noexcept
{
    for (Rising& r : rising_) {
        if (r.note != up.note) continue;
        r.up = true;
        return true;
    }
    if (index >= sounding_.size() || at >= sounding_[index].least) return false;
    sounding_[index].until = sounding_[index].least;
    return true;
}

void Engine::end_due(Time at, Sink& sink) noexcept
{
    for (std::size_t i = sounding_.size(); i > 0; --i)
        if (sounding_[i - 1].until <= at) end_note(i - 1, at, sink);
    fall_silent(at, sink);
}

// The lower notes are gone before their time: the upper ones need not wait longer.
void Engine::settle(Time at, Sink& sink) noexcept
{
    if (sounding_.empty() && !rising_.empty()) break_chord(at, sink);
}

} // namespace bowarm
