#include "player/engine.hpp"

namespace bowarm
{
namespace
{

using Down = FixedVector<Midi7, Phrase::key_limit>;

bool has(const Down& keys, Midi7 key)
{
    for (const Midi7 k : keys)
        if (k == key) return true;
    return false;
}

void release(Down& keys, Midi7 key)
{
    for (std::size_t i = keys.size(); i > 0; --i)
        if (keys[i - 1] == key) keys.erase_at(i - 1);
}

} // namespace

// The one key that is down comes up so soon after the new ones that no slur is meant: it comes up now.
void Engine::part_beforehand(Time at, Sink& sink) noexcept
{
    if (phrase_.keys().size() != 1 || sounding_.size() != 1) return;
    const Midi7 old = phrase_.keys()[0].pitch;
    for (std::size_t i = 0; i < waiting_.size() && to_seconds(waiting_[i].at + hold_ - at) < Overlaps::surely_an_accident; ++i) {
        if (waiting_[i].kind == GestureKind::key_down) return;
        if (waiting_[i].kind != GestureKind::key_up || waiting_[i].pitch != old) continue;
        Gesture up = waiting_.take(i);
        up.at = at;
        apply(up, sink);
        return;
    }
}

// Follows the keys through what waits, from the chord that is about to begin.
Ahead Engine::look_ahead(const Chord& chord, Time at) const noexcept
{
    Ahead ahead;
    ahead.seen = to_seconds(hold_);
    Down down;
    for (const HeldKey& key : phrase_.keys()) down.push_back(key.pitch);
    NoteAhead now; // the newest note, whose next onset is looked for
    now.note.reached = !down.empty();
    now.velocity = chord[0].velocity.get();
    Down pitches, own; // of the newest note, and of the one that is about to begin as far as they are still down
    for (const Gesture& g : chord) {
        down.push_back(g.pitch);
        pitches.push_back(g.pitch);
        own.push_back(g.pitch);
    }
    Time onset = at;
    for (std::size_t i = 0; i < waiting_.size() && !ahead.notes.full(); ++i) {
        const Gesture& g = waiting_[i];
        const Time then = g.at + hold_;
        if (g.kind == GestureKind::bypass || g.kind == GestureKind::release_source) break;
        if (g.kind == GestureKind::key_up) {
            release(down, g.pitch);
            release(own, g.pitch);
            if (own.empty() && !ahead.held) ahead.held = to_seconds(then - at);
            if (!down.empty()) continue;
            now.note.held = to_seconds(then - onset);
            if (!ahead.bow) ahead.bow = to_seconds(then - at);
        }
        if (g.kind != GestureKind::key_down) continue;
        const bool slurred = !down.empty();
        if (slurred && to_seconds(then - onset) <= config_.chord_window) {
            down.push_back(g.pitch);
            pitches.push_back(g.pitch);
            continue;
        }
        now.note.interval = to_seconds(then - onset);
        now.note.slurred = slurred;
        if (slurred) now.note.held = now.note.interval;
        ahead.notes.push_back(now);
        ahead.next_repeats = has(pitches, g.pitch);
        now = {};
        now.repeats = ahead.next_repeats;
        now.note.reached = slurred;
        now.velocity = g.velocity.get();
        onset = then;
        pitches.clear();
        pitches.push_back(g.pitch);
        down.push_back(g.pitch);
    }
    return ahead;
}

// What is known replaces what the notes before let expect.
void Engine::foresee(NoteMeaning& note) const noexcept
{
    if (ahead_.held) {
        note.expected = *ahead_.held;
        note.rhythm_known = true;
    } else if (note.expected < ahead_.seen) {
        note.expected = ahead_.seen;
    }
    // A short sound would die under the key.
    const bool too_long = (ahead_.held ? *ahead_.held : ahead_.seen) >= patience(target_.voice(note.technique));
    if (note.read && !note.technique_chosen && is_short(note.technique) && too_long) note.technique = Technique::detache;
}

// How long the stroke will be: until no key is down any more, where that is in sight, and at least as far as is seen.
void Engine::foresee_end(Time at, Time began) noexcept
{
    const Seconds lasted = to_seconds(at - began);
    Down down;
    for (const HeldKey& key : phrase_.keys()) down.push_back(key.pitch);
    for (std::size_t i = 0; i < waiting_.size(); ++i) {
        const Gesture& g = waiting_[i];
        if (g.kind == GestureKind::key_down) down.push_back(g.pitch);
        if (g.kind != GestureKind::key_up) continue;
        release(down, g.pitch);
        if (!down.empty()) continue;
        stroke_.expected = lasted + to_seconds(g.at + hold_ - at);
        stroke_.end_known = true;
        return;
    }
    stroke_.end_known = false;
    const Seconds least = lasted + to_seconds(hold_);
    if (stroke_.expected < least) stroke_.expected = least;
}

} // namespace bowarm
