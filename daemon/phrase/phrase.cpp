#include "phrase/phrase.hpp"

namespace bowarm
{
namespace
{

constexpr double velocity_memory = 0.2; // share of the newest note in the running average

} // namespace

Phrase::Phrase(const PhraseConfig& config)
    : chord_window_(config.chord_window), meter_(config.tempo, config.meter_beats, config.meter_unit), reader_(config.limits)
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

bool Phrase::repeats(Midi7 pitch) const noexcept
{
    for (const Midi7 p : group_before_)
        if (p == pitch) return true;
    return false;
}

// What was read holds where nothing is chosen.
void Phrase::use(const Reading& reading, NoteMeaning& note) noexcept
{
    if (chosen_) return;
    technique_ = reading.technique;
    note.technique = reading.technique;
    note.read = reading.family;
}

NoteMeaning Phrase::key_down(const Gesture& gesture, Loudness wanted, std::optional<Loudness> hand, bool read_technique) noexcept
{
    NoteMeaning note;
    if (keys_.full()) {
        note.refused = true;
        return note;
    }
    note.connection = connect(gesture.at);
    note.first = !any_;
    note.gap = any_ && note.connection == Connection::separate ? to_seconds(gesture.at - silent_since_) : Seconds{0};
    meter_.first_note(gesture.at);
    note.place = meter_.place(gesture.at);
    note.accent = accent_of(gesture.velocity);
    if (note.connection != Connection::chord) {
        rhythm_.onset(gesture.at, note.connection == Connection::slurred);
        group_onset_ = gesture.at;
        group_before_ = group_;
        group_.clear();
        const bool slurred = note.connection == Connection::slurred;
        const Onset onset{slurred, repeats(gesture.pitch), {static_cast<double>(gesture.velocity.get()), hand}};
        const Reading reading = reader_.read(onset, wanted, rhythm_);
        if (read_technique)
            use(reading, note);
        else if (!chosen_)
            technique_ = slurred ? Technique::legato : Technique::detache;
    }
    group_.push_back(gesture.pitch);
    note.technique = technique_;
    note.technique_chosen = chosen_;
    note.expected = rhythm_.expected_interval();
    note.rhythm_known = rhythm_.known();
    note.short_after_long = note.connection == Connection::separate && rhythm_.short_after_long();
    keys_.push_back({gesture.pitch, gesture.source, gesture.at, gesture.note, gesture.velocity});
    any_ = true;
    return note;
}

NoteMeaning Phrase::was_separate(const NoteMeaning& slurred) noexcept
{
    rhythm_.was_separate();
    NoteMeaning note = slurred;
    note.connection = Connection::separate;
    const Reading reading = reader_.read_parted(rhythm_);
    if (slurred.read) use(reading, note);
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

void Phrase::tempo(const Gesture& gesture) noexcept { meter_.tempo(gesture.at, Seconds{static_cast<double>(gesture.number) * 1e-6}); }

void Phrase::meter(const Gesture& gesture) noexcept
{
    meter_.meter(gesture.at, static_cast<std::uint8_t>(gesture.number), gesture.beat_unit);
}

} // namespace bowarm
