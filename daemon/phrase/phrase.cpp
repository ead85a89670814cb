#include "phrase/phrase.hpp"

namespace bowarm
{
namespace
{

constexpr double velocity_memory = 0.2; // share of the newest note in the running average

} // namespace

Phrase::Phrase(const PhraseConfig& config) : chord_window_(config.chord_window), beat_(config.tempo, config.meter), reader_(config.limits)
{
}

Connection Phrase::connect(Time at) const noexcept
{
    if (keys_.empty()) return Connection::separate;
    return to_seconds(at - group_onset_) <= chord_window_ ? Connection::chord : Connection::slurred;
}

double Phrase::accent_of(Midi7 velocity) noexcept
{
    const double v = velocity.get();
    const double accent = average_velocity_ > 0 ? v / average_velocity_ : 1.0;
    average_velocity_ = average_velocity_ > 0 ? average_velocity_ + velocity_memory * (v - average_velocity_) : v;
    return accent;
}

NoteMeaning Phrase::key_down(const Gesture& gesture, Loudness wanted, bool read_technique) noexcept
{
    NoteMeaning note;
    if (keys_.full()) {
        note.refused = true;
        return note;
    }
    note.connection = connect(gesture.at);
    note.first = !any_;
    note.gap = any_ && note.connection == Connection::separate ? to_seconds(gesture.at - silent_since_) : Seconds{0};
    note.accent = accent_of(gesture.velocity);
    if (note.connection == Connection::chord) {
        beat_.joined(note.accent);
    } else {
        beat_.onset({gesture.at, note.connection == Connection::slurred, note.gap, note.accent, gesture.pitch.get()});
        rhythm_.onset(gesture.at, note.connection == Connection::slurred);
        group_onset_ = gesture.at;
        if (!chosen_) {
            technique_ = read_technique ? reader_.read(note.connection == Connection::slurred, rhythm_, wanted, note.accent)
                         : note.connection == Connection::slurred ? Technique::legato
                                                                  : Technique::detache;
        }
    }
    note.place = beat_.place(gesture.at);
    note.technique = technique_;
    note.technique_chosen = chosen_;
    note.expected = rhythm_.expected_interval();
    note.rhythm_known = rhythm_.known();
    note.short_after_long = note.connection == Connection::separate && rhythm_.short_after_long();
    keys_.push_back({gesture.pitch, gesture.source, gesture.at, gesture.note, gesture.velocity});
    any_ = true;
    return note;
}

bool Phrase::key_up(const Gesture& gesture) noexcept { return key_up(gesture.pitch, gesture.at); }

bool Phrase::key_up(Midi7 pitch, Time at) noexcept
{
    for (std::size_t i = 0; i < keys_.size(); ++i) {
        if (keys_[i].pitch != pitch) continue;
        keys_.erase_at(i);
        if (keys_.empty()) {
            silent_since_ = at;
            rhythm_.key_up(at);
        }
        return true;
    }
    return false;
}

void Phrase::choose(Technique technique) noexcept
{
    chosen_ = true;
    technique_ = technique;
}

void Phrase::was_separate() noexcept
{
    rhythm_.was_separate();
    beat_.was_separate();
}

void Phrase::tell_time(const Gesture& g) noexcept
{
    switch (g.kind) {
    case GestureKind::tempo:
        beat_.tempo(g.at, Seconds{static_cast<double>(g.number) * 1e-6});
        break;
    case GestureKind::meter:
        beat_.meter(g.at, {static_cast<std::uint8_t>(g.number), g.beat_unit});
        break;
    case GestureKind::clock:
        beat_.clock(g.at, g.source);
        break;
    case GestureKind::clock_start:
        beat_.clock_start(g.at, g.source);
        break;
    case GestureKind::clock_continue:
        beat_.clock_continue(g.at, g.source);
        break;
    case GestureKind::clock_stop:
        beat_.clock_stop(g.source);
        break;
    case GestureKind::song_position:
        beat_.song_position(g.source, static_cast<int>(g.number));
        break;
    case GestureKind::tap_beat:
        beat_.tap_beat(g.at);
        break;
    case GestureKind::tap_bar:
        beat_.tap_bar(g.at);
        break;
    default:
        break;
    }
}

} // namespace bowarm
