#include "player/engine.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

// What may stand between the notes of a chord and be done before them: nothing that a note's end or meaning hangs on.
bool may_go_before(GestureKind kind)
{
    switch (kind) {
    case GestureKind::loudness:
    case GestureKind::contact_point:
    case GestureKind::amount:
    case GestureKind::pass:
        return true;
    default:
        return false;
    }
}

} // namespace

// Everything waits equally long, so that the order stays; silence and news of the output do not wait.
void Engine::wait(const Gesture& gesture, Sink& sink) noexcept
{
    if (gesture.kind == GestureKind::none) return;
    if (gesture.kind == GestureKind::panic || gesture.kind == GestureKind::target_unknown) {
        do_not_wait(gesture, sink);
        return;
    }
    if (waiting_.full()) release_next(gesture.at, sink);
    waiting_.push(gesture);
}

// Notes that have not begun never do; the rest of what waits is done first.
void Engine::do_not_wait(const Gesture& gesture, Sink& sink) noexcept
{
    while (!waiting_.empty()) {
        Gesture waited = waiting_.pop();
        waited.at = gesture.at;
        if (waited.kind != GestureKind::key_down) apply(waited, sink);
    }
    apply(gesture, sink);
}

void Engine::release_next(Time at, Sink& sink) noexcept
{
    release_chord(waiting_[0].kind == GestureKind::key_down ? through_chord() : 1, at, sink);
}

// How many of the waiting gestures belong to the chord that the oldest begins: up to its last note.
std::size_t Engine::through_chord() const noexcept
{
    std::size_t through = 1;
    for (std::size_t i = 1; i < waiting_.size(); ++i) {
        const Gesture& g = waiting_[i];
        if (to_seconds(g.at - waiting_[0].at) > config_.chord_window) break;
        if (g.kind == GestureKind::key_down)
            through = i + 1;
        else if (!may_go_before(g.kind))
            break;
    }
    return through;
}

// The notes of a chord begin together, from the lowest up, as a bow takes them; its direction is chosen from all of them.
void Engine::release_chord(std::size_t gestures, Time at, Sink& sink) noexcept
{
    Chord notes;
    for (std::size_t i = 0; i < gestures; ++i) {
        Gesture g = waiting_.pop();
        g.at = at;
        if (g.kind != GestureKind::key_down || !notes.push_back(g)) apply(g, sink);
    }
    std::sort(notes.begin(), notes.end(), [](const Gesture& a, const Gesture& b) { return a.pitch < b.pitch; });
    if (foresees_ && !notes.empty()) {
        part_beforehand(at, sink);
        ahead_ = look_ahead(notes, at);
    }
    for (std::size_t i = 0; i < notes.size(); ++i) {
        foreseen_ = static_cast<int>(notes.size() - 1 - i);
        apply(notes[i], sink);
    }
    foreseen_ = 0;
    ahead_ = {};
}

} // namespace bowarm
