#include "player/engine.hpp"

namespace bowarm
{

// A key cannot sound twice: where a note needs a key that sounds, the older note ends first.
void Engine::free_key(Midi7 pitch, Time at, Sink& sink) noexcept
{
    const std::optional<Midi7> key = target_key(pitch);
    for (const Raked& r : raked_) {
        if (r.pitch != pitch && target_key(r.pitch) != key) continue;
        sound_all_raked(at, sink);
        break;
    }
    for (std::size_t i = sounding_.size(); i > 0; --i)
        if (sounding_[i - 1].pitch == pitch || sounding_[i - 1].key == key) end_note(i - 1, at, sink);
}

std::optional<Midi7> Engine::target_key(Midi7 pitch) const noexcept
{
    const Midi7 low = config_.instrument.lowest_key;
    const Midi7 high = config_.instrument.highest_key;
    if (low <= pitch && pitch <= high) return pitch;
    // Passed down among the keyswitches it would select a sound, not be one.
    if (config_.out_of_range == OutOfRange::pass) return target_.is_switch(pitch) ? std::nullopt : std::optional{pitch};
    if (config_.out_of_range == OutOfRange::drop) return std::nullopt;
    int key = pitch.get();
    while (key < low.get()) key += 12;
    while (key > high.get()) key -= 12;
    return key < low.get() ? std::nullopt : Midi7::from(key);
}

// Not above the third string, counted from the lowest.
bool Engine::is_low(Midi7 pitch) const noexcept
{
    const auto& strings = config_.instrument.strings;
    return strings.size() > heavy_strings && !(strings[heavy_strings].open_key < pitch);
}

// What the present stroke wants of the target, beside its technique.
Wanted Engine::wanted(Midi7 velocity) const noexcept
{
    return {stroke_.plucked ? Direction::down : stroke_.direction, velocity, loudness(), muted_, zone_};
}

Voice Engine::voice_of(Technique technique, Midi7 velocity, Time at, Sink& sink) noexcept
{
    const Voice voice = target_.voice(technique, wanted(velocity));
    if (voice.missing) warn(Warning::technique_missing, at, static_cast<double>(technique), no_number, sink);
    return voice;
}

NoteStart Engine::start_of(const Sounding& note, double accent) const noexcept
{
    NoteStart start;
    start.played = note.velocity;
    start.loudness = loudness();
    start.accent = accent;
    return start;
}

// What sounds again in the middle of a stroke ought not to be heard as a new note.
Midi7 Engine::mended(const Sounding& note, const Voice& voice) const noexcept
{
    NoteStart start = start_of(note, 1);
    start.again = true;
    return target_.velocity(voice, start);
}

// What begins in one bundle is heard together: the slowest note of it counts.
void Engine::will_speak(const Voice& voice, Midi7 velocity, std::optional<int> interval) noexcept
{
    const Seconds after = voice.way != nullptr ? speaks_after(voice.way->speaking, velocity, interval) : Seconds{0};
    if (!speaks_ || *speaks_ < after) speaks_ = after;
}

void Engine::sound(Bundle& bundle, const Sounding& note, const Voice& voice, const NoteStart& start) noexcept
{
    const Midi7 velocity = target_.velocity(voice, start);
    std::optional<int> interval;
    if (stroke_.slurred && !stroke_.plucked) interval = note.key.get() - last_key_.get();
    will_speak(voice, velocity, interval);
    target_.add_note_on(bundle, note.channel, note.key, velocity);
    sounding_.push_back(note);
    last_key_ = note.key;
    phrase_.sounds(note.note);
}

Engine::Sounding Engine::without_string(Midi7 pitch, Source source, std::uint32_t note, Midi7 velocity, Time at) const noexcept
{
    Sounding s;
    s.pitch = pitch;
    s.key = target_key(pitch).value_or(pitch);
    s.source = source;
    s.note = note;
    s.velocity = velocity;
    s.part.begin(at, bow_.place(at));
    return s;
}

Engine::Sounding Engine::make_sounding(Midi7 pitch, Source source, std::uint32_t note, Midi7 velocity, Time at, Sink& sink) noexcept
{
    Sounding s = without_string(pitch, source, note, velocity, at);
    warn_unplayable(new_trouble(s.key), at, note, sink);
    put_on_string(s);
    return s;
}

void Engine::end_note(std::size_t index, Time at, Sink& sink) noexcept
{
    const Sounding s = sounding_[index];
    Bundle bundle;
    target_.add_note_off(bundle, s.channel, s.key);
    sounding_.erase_at(index);
    phrase_.fell_silent(s.note, Time::never());
    sink.bundle(at, messages(bundle));
    tell_part_ended(s, at, sink);
    tell(FactKind::note_ended, at, s.note, sink);
}

} // namespace bowarm
