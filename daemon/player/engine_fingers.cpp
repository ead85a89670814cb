#include "player/engine.hpp"

namespace bowarm
{
namespace
{

// A note that is expected to last so long is an expressive one.  Common practice, no source.
constexpr Seconds sustained{0.4};

} // namespace

// Short notes may ring on an open string; a long one is rather stopped, so that it can be coloured like its neighbours.
bool Engine::rather_stopped(const NoteMeaning& note) const noexcept
{
    return !config_.open_strings && !is_plucked(note.technique) && keeps_bow(note.technique) && note.technique != Technique::harmonic &&
           note.rhythm_known && note.expected >= sustained;
}

void Engine::wish_string(const StringName& name, bool on) noexcept
{
    const auto& strings = config_.instrument.strings;
    std::optional<std::uint8_t> named;
    for (std::size_t i = 0; i < strings.size(); ++i) {
        const bool is = name.number > 0 ? name.number + i == strings.size() : strings[i].open_key.get() % 12 == name.pitch_class;
        if (is && !named) named = static_cast<std::uint8_t>(i);
    }
    if (on)
        wished_string_ = named;
    else if (wished_string_ == named)
        wished_string_.reset();
}

int Engine::stopped_at(const Sounding& note) const noexcept
{
    return note.key.get() - config_.instrument.strings[note.string].open_key.get();
}

Unplayable Engine::why_not(const Pitches& keys) const noexcept
{
    return keys.size() < 2 ? Unplayable::no : finger_chord(config_.instrument, {keys.data(), keys.size()}).why;
}

// Why that note cannot join those that sound or wait, where they could be played without it or for another reason could not.
Unplayable Engine::new_trouble(Midi7 key) const noexcept
{
    Pitches keys;
    for (const Sounding& other : sounding_) keys.push_back(other.key);
    for (const Rising& other : rising_) keys.push_back(target_key(other.pitch).value_or(other.pitch));
    const Unplayable before = why_not(keys);
    keys.push_back(key);
    const Unplayable now = why_not(keys);
    return now == before ? Unplayable::no : now;
}

// Of the keys that are down, the first that does not go with it.
Unplayable Engine::why_not_over_held(Midi7 newest) const noexcept
{
    const std::optional<Midi7> key = target_key(newest);
    for (const HeldKey& held : phrase_.keys()) {
        const std::optional<Midi7> other = target_key(held.pitch);
        if (!key || !other || *other == *key || held.left) continue;
        Pitches two;
        two.push_back(*key);
        two.push_back(*other);
        if (const Unplayable why = why_not(two); why != Unplayable::no) return why;
    }
    return Unplayable::too_many_notes;
}

void Engine::warn_unplayable(Unplayable why, Time at, std::uint32_t note, Sink& sink) noexcept
{
    if (why != Unplayable::no && why != Unplayable::out_of_range) warn(Warning::not_playable_together, at, 0, note, sink, why);
}

// A player who is going to hold the first note fingers it so that the second can be reached; so with a chord.
bool Engine::finger_as_chord(Sounding& note) noexcept
{
    if (sounding_.empty()) return false;
    if (sounding_.size() == 1) {
        const auto pair = finger_together(config_.instrument, sounding_[0].key, sounding_[0].string, note.key);
        if (!pair) return false;
        sounding_[0].string = pair->held;
        note.string = pair->other;
        return true;
    }
    Pitches keys;
    for (const Sounding& other : sounding_) keys.push_back(other.key);
    if (!keys.push_back(note.key)) return false;
    const ChordFingering chord = finger_chord(config_.instrument, {keys.data(), keys.size()});
    if (chord.why != Unplayable::no) return false;
    for (std::size_t i = 0; i < sounding_.size(); ++i) sounding_[i].string = chord.strings[i];
    note.string = chord.strings[sounding_.size()];
    return true;
}

std::uint8_t Engine::string_for(Midi7 key) const noexcept
{
    FingerNeeds needs;
    needs.pitch = key;
    for (const Sounding& other : sounding_) needs.taken.taken[other.string] = true;
    if (!bow_in_air_) needs.current = stroke_.string;
    needs.hand = hand_;
    needs.rather_stopped = rather_stopped_;
    needs.rather_open = open_strings_;
    needs.wished = wished_string_;
    return finger(config_.instrument, needs);
}

void Engine::put_on_string(Sounding& note) noexcept
{
    if (!finger_as_chord(note)) note.string = string_for(note.key);
    const int stopped = stopped_at(note);
    if (stopped > 0) hand_ = moved_to(config_.instrument, hand_, stopped);
}

} // namespace bowarm
