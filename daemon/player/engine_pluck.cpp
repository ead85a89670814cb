#include "player/engine.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

// A key that comes up before the finger is there: the string is plucked all the same, and rings at least this long.
constexpr Duration least_ring = milliseconds(60);
// Chords that follow each other within this are strummed to and fro.  Common practice, no source.
constexpr Seconds strummed_within{0.45};

} // namespace

void Engine::begin_pluck(const Gesture& g, const NoteMeaning& note, Sink& sink) noexcept
{
    sound_all_raked(g.at, sink);
    turn_hand(note.technique, g.at, sink);
    judge_pluck_rate(note.technique, g.at, sink);
    last_pluck_.reset();
    const bool strummed = alternate_ || (last_rake_ && to_seconds(g.at - *last_rake_) < strummed_within);
    rake_ = direction_wish_ ? *direction_wish_ : (strummed ? opposite(rake_) : Direction::down);
    direction_wish_.reset();
    if (stroke_.active && !stroke_.plucked) {
        Bundle bundle;
        end_but(std::nullopt, g, bundle, sink);
        if (!bundle.empty()) sink.bundle(g.at, messages(bundle));
        end_stroke(g.at, sink);
    }
    stroke_.technique = note.technique;
    stroke_.read = note.read;
    stroke_.revisable = false;
}

// A single note sounds at once.  The notes of a chord sound one after the other, as a finger rakes across the strings: live, the
// first key that went down sounds first and the others follow in the order of the strings.
void Engine::pluck(const Gesture& g, const NoteMeaning& note, Sink& sink) noexcept
{
    const bool joins = note.connection == Connection::chord && stroke_.active && stroke_.plucked && (last_pluck_ || !raked_.empty());
    if (joins)
        last_rake_ = g.at;
    else
        begin_pluck(g, note, sink);
    stroke_.active = true;
    stroke_.plucked = true;
    raked_.push_back({g.pitch, g.source, g.note, g.velocity, note.accent, stroke_.technique, g.at, false});
    if (foreseen_ > 0) return; // the rest of the chord comes now
    arrange_rake(g.at);
    sound_due(g.at, sink);
}

// Puts what has not sounded into the order of the strings and gives each its time.
void Engine::arrange_rake(Time at) noexcept
{
    const bool rising = rake_ == Direction::down;
    std::sort(raked_.begin(), raked_.end(),
              [rising](const Raked& a, const Raked& b) { return rising ? a.pitch < b.pitch : b.pitch < a.pitch; });
    Time due = at;
    bool first = !last_pluck_;
    for (Raked& r : raked_) {
        const Duration step = to_duration(rake_step(r.velocity.get() / 127.0));
        if (!first && last_pluck_ && due < *last_pluck_ + step) due = *last_pluck_ + step;
        r.due = due;
        due = due + step;
        first = false;
    }
}

void Engine::sound_raked(const Raked& r, Time at, Sink& sink) noexcept
{
    if (!bow_.running()) bow_.begin_still(at);
    stroke_.active = true;
    stroke_.plucked = true;
    stroke_.technique = r.technique;
    const Voice voice = voice_of(r.technique, r.velocity, at, sink);
    Sounding s = make_sounding(r.pitch, r.source, r.note, r.velocity, at, sink);
    s.channel = voice.channel;
    if (r.let_go) s.until = at + least_ring;
    Bundle bundle;
    target_.add_switch(bundle, voice);
    target_.add_first_values(bundle, voice.channel, bow_state(at), Begins::anew);
    sound(bundle, s, voice, start_of(s, r.accent));
    last_onset_ = at;
    sink.bundle(at, messages(bundle));
    tell_note_began(s, at, r.technique, false, sink);
    last_pluck_ = at;
    hand_busy_until_ = at;
}

void Engine::sound_due(Time at, Sink& sink) noexcept
{
    while (!raked_.empty() && raked_[0].due <= at) {
        const Raked r = raked_[0];
        raked_.erase_at(0);
        sound_raked(r, at, sink);
    }
}

// Something else begins: what the finger has not reached sounds now.
void Engine::sound_all_raked(Time at, Sink& sink) noexcept
{
    for (Raked& r : raked_) r.due = at;
    sound_due(at, sink);
}

bool Engine::let_go_raked(std::uint32_t note) noexcept
{
    for (Raked& r : raked_) {
        if (r.note != note) continue;
        r.let_go = true;
        return true;
    }
    return false;
}

} // namespace bowarm
