#include "player/engine.hpp"

namespace bowarm
{
namespace
{

int interval(Midi7 a, Midi7 b) { return a.get() < b.get() ? b.get() - a.get() : a.get() - b.get(); }

} // namespace

std::size_t Engine::index_of(std::uint32_t note) const noexcept
{
    for (std::size_t i = 0; i < sounding_.size(); ++i)
        if (sounding_[i].note == note) return i;
    return sounding_.size();
}

// Whether a hand can hold that key's note while the bow takes the other along.
bool Engine::playable(const HeldKey& held, Midi7 other) const noexcept
{
    const std::optional<Midi7> one = target_key(held.pitch);
    const std::optional<Midi7> two = target_key(other);
    if (!one || !two || *one == *two) return false;
    const std::size_t index = index_of(held.note);
    std::optional<std::uint8_t> on;
    if (index < sounding_.size()) on = sounding_[index].string;
    return finger_together(config_.instrument, *one, on, *two).has_value();
}

Company Engine::company(const NoteMeaning& note, Time at, Sink& sink) noexcept
{
    const bool over_older = note.connection == Connection::slurred || note.connection == Connection::over_held;
    if (!over_older || is_plucked(note.technique) || is_off_string(note.technique)) return {};
    Phrase::Playable can{};
    const HeldKey& newest = phrase_.keys().back();
    for (std::size_t i = 0; i + 1 < phrase_.keys().size(); ++i) can[i] = playable(phrase_.keys()[i], newest.pitch);
    const Company beside = phrase_.company(can);
    if (beside.torn) warn_unplayable(why_not_over_held(newest.pitch), at, newest.note, sink);
    return beside;
}

// The note falls silent under the one that is the cause; should its key stay down, it is brought back.
void Engine::end_in(Bundle& bundle, std::size_t index, const Gesture& cause, Sink& sink) noexcept
{
    const Sounding s = sounding_[index];
    target_.add_note_off(bundle, s.channel, s.key);
    sounding_.erase_at(index);
    const Time due = cause.at + to_duration(phrase_.patience(interval(s.pitch, cause.pitch)));
    phrase_.fell_silent(s.note, due);
    if (due < mend_at_) mend_at_ = due;
    tell_part_ended(s, cause.at, sink);
    tell(FactKind::note_ended, cause.at, s.note, sink);
}

void Engine::end_but(std::optional<std::uint32_t> kept, const Gesture& cause, Bundle& bundle, Sink& sink) noexcept
{
    for (std::size_t i = 0; i < sounding_.size();) {
        if (kept && sounding_[i].note == *kept)
            ++i;
        else
            end_in(bundle, i, cause, sink);
    }
}

// Two strings are what a bow holds: when a second new note joins the first, what was held before them ends.
void Engine::end_older_than_chord(const Gesture& cause, Bundle& bundle, Sink& sink) noexcept
{
    if (sounding_.size() < 2) return;
    for (std::size_t i = 0; i < sounding_.size();) {
        const HeldKey* key = phrase_.held(sounding_[i].note);
        if (key != nullptr && key->since < phrase_.group_onset())
            end_in(bundle, i, cause, sink);
        else
            ++i;
    }
}

// A change of bow: what sounds on has one part in the old stroke and another in the new one.
void Engine::end_held_parts(Time at, Sink& sink) noexcept
{
    for (const Sounding& held : sounding_) tell_part_ended(held, at, sink);
}

void Engine::begin_held_parts(Time at) noexcept
{
    for (Sounding& held : sounding_) held.part.begin(at, bow_.place(at));
}

// A voice that had to fall silent and goes with the new note sounds again; the caller sends it.
std::optional<Engine::Sounding> Engine::take_up(const Company& company, const Voice& voice, Time at, Sink& sink) noexcept
{
    if (!company.note || index_of(*company.note) < sounding_.size()) return std::nullopt;
    const HeldKey* key = phrase_.held(*company.note);
    if (key == nullptr) return std::nullopt;
    Sounding s = make_sounding(key->pitch, key->source, key->note, key->velocity, at, sink);
    s.channel = voice.channel;
    sounding_.push_back(s);
    phrase_.sounds(s.note);
    return s;
}

// A note that joins a held one is part of its stroke.  One that is slurred over a held one is legato, except where the target
// would speak that on another channel and leave the held note without its curves.
Technique Engine::technique_over(Technique wanted, bool replaces) const noexcept
{
    if (sounding_.empty()) return wanted;
    const bool same_channel = target_.voice(wanted, this->wanted(sounding_.back().velocity)).channel == sounding_[0].channel;
    return replaces && same_channel ? wanted : stroke_.technique;
}

// The note that the bow goes on with when that key comes up: one that is still down and fell silent under it.
const HeldKey* Engine::returning(const HeldKey& up) const noexcept
{
    const auto& keys = phrase_.keys();
    if (!rising_.empty()) return nullptr;
    if (sounding_.size() == 1) {
        for (std::size_t i = keys.size(); i > 0; --i)
            if (!keys[i - 1].left) return target_key(keys[i - 1].pitch) ? &keys[i - 1] : nullptr;
        return nullptr;
    }
    if (sounding_.size() > 2) return nullptr;
    const Sounding& other = sounding_[0].note == up.note ? sounding_[1] : sounding_[0];
    for (std::size_t i = keys.size(); i > 0; --i) {
        const HeldKey& key = keys[i - 1];
        if (key.silent && !key.left && key.since < up.since && playable(key, other.pitch)) return &key;
    }
    return nullptr;
}

// Keys that have stayed down under a slur for longer than any legato: their notes were meant to sound on.
void Engine::bring_back(Time at, Sink& sink) noexcept
{
    mend_at_ = Time::never();
    for (std::size_t i = 0; i < phrase_.keys().size(); ++i) {
        const HeldKey key = phrase_.keys()[i];
        if (!key.silent) continue;
        if (at < key.due) {
            if (key.due < mend_at_) mend_at_ = key.due;
            continue;
        }
        phrase_.fell_silent(key.note, Time::never());
        if (!stroke_.active || stroke_.plucked || !keeps_bow(stroke_.technique)) continue;
        if (sounding_.size() == 1 && playable(key, sounding_[0].pitch))
            sound_again(key, at, sink);
        else
            warn_unplayable(why_not_over_held(key.pitch), at, key.note, sink);
    }
}

void Engine::sound_again(const HeldKey& key, Time at, Sink& sink) noexcept
{
    Bundle bundle;
    const Voice voice = voice_of(stroke_.technique, key.velocity, at, sink);
    Sounding s = make_sounding(key.pitch, key.source, key.note, key.velocity, at, sink);
    s.channel = voice.channel;
    phrase_.brought_back(s.note, sounding_[0].pitch);
    // The newest note stays the last of the list.
    const Sounding newest = sounding_.back();
    sounding_.pop_back();
    sounding_.push_back(s);
    sounding_.push_back(newest);
    stroke_.slurred = true;
    target_.add_switch(bundle, voice);
    target_.add_first_values(bundle, voice.channel, bow_state(at), Begins::connected);
    will_speak(voice, mended(s, voice), std::nullopt);
    target_.add_note_on(bundle, s.channel, s.key, mended(s, voice));
    sink.bundle(at, messages(bundle));
    tell_note_began(s, at, stroke_.technique, true, sink);
    tell(FactKind::repaired, at, s.note, sink);
}

} // namespace bowarm
