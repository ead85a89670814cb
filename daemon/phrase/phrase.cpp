#include "phrase/phrase.hpp"

namespace bowarm
{
namespace
{

constexpr double velocity_memory = 0.2; // share of the newest note in the running average
// Which of several sounding notes a newer one follows: the nearest, in semitones; a voice that has been lasting while others
// moved is left where it is, and so, less firmly, is the older of two notes.  Common practice, no source.
constexpr int leave_a_voice = 12;
constexpr int leave_the_older = 3;
constexpr Seconds uneven_fingers{0.04}; // keys of one chord come up within that.  Common practice, no source

// A meter that was only guessed is too unsure to hook by.
bool tells_compound(const BeatPlace& place) { return place.compound && place.source != BeatSource::playing; }

int interval(Midi7 a, Midi7 b) { return a.get() < b.get() ? b.get() - a.get() : a.get() - b.get(); }

} // namespace

Phrase::Phrase(const PhraseConfig& config) : chord_window_(config.chord_window), beat_(config.tempo, config.meter), reader_(config.limits)
{
}

Connection Phrase::connect(Midi7 pitch, Time at) const noexcept
{
    if (keys_.empty()) return Connection::separate;
    if (to_seconds(at - group_onset_) <= chord_window_) return Connection::chord;
    return only_voices(pitch, at) ? Connection::over_held : Connection::slurred;
}

bool Phrase::is_voice(const HeldKey& key, Midi7 newer, Time at) const noexcept
{
    if (key.outlasts_from > at) return false;
    const Seconds outlasting = to_seconds(at - key.outlasts_from);
    // Over a note that others came and went above, any note is another voice; after a chord whose other key came up early, a
    // step is a step.
    if (key.spans) return outlasting > voices_.longer_than_legato();
    return outlasting > uneven_fingers && interval(key.pitch, newer) > step;
}

bool Phrase::only_voices(Midi7 newer, Time at) const noexcept
{
    for (const HeldKey& key : keys_)
        if (!is_voice(key, newer, at)) return false;
    return true;
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

NoteMeaning Phrase::key_down(const Gesture& gesture, Loudness wanted, std::optional<Loudness> hand, bool read_technique,
                             const Ahead& ahead) noexcept
{
    NoteMeaning note;
    if (keys_.full()) {
        note.refused = true;
        return note;
    }
    note.connection = connect(gesture.pitch, gesture.at);
    note.first = !any_;
    note.gap = any_ && note.connection == Connection::separate ? to_seconds(gesture.at - silent_since_) : Seconds{0};
    note.accent = accent_of(gesture.velocity);
    if (note.connection == Connection::chord) {
        beat_.joined(note.accent);
    } else {
        beat_.onset({gesture.at, note.connection == Connection::slurred, note.gap, note.accent, gesture.pitch.get()});
        rhythm_.onset(gesture.at, note.connection == Connection::slurred);
        group_onset_ = gesture.at;
        group_before_ = group_;
        group_.clear();
        const bool slurred = note.connection == Connection::slurred;
        const Onset onset{slurred, repeats(gesture.pitch), {static_cast<double>(gesture.velocity.get()), hand}};
        const Reading reading = reader_.read(onset, wanted, rhythm_, ahead);
        // Over a held note nothing is read: the bow cannot leave the string that the held note is on.
        if (read_technique && note.connection != Connection::over_held)
            use(reading, note);
        else if (!chosen_)
            technique_ = slurred ? Technique::legato : Technique::detache;
    }
    group_.push_back(gesture.pitch);
    note.place = beat_.place(gesture.at);
    note.technique = technique_;
    note.technique_chosen = chosen_;
    note.expected = rhythm_.expected_interval();
    note.rhythm_known = rhythm_.known();
    note.uneven = rhythm_.uneven();
    note.short_after_long = note.connection == Connection::separate && rhythm_.short_after_long(tells_compound(note.place));
    keys_.push_back({gesture.pitch, gesture.source, gesture.at, gesture.note, gesture.velocity});
    any_ = true;
    return note;
}

NoteMeaning Phrase::was_separate(const NoteMeaning& slurred) noexcept
{
    rhythm_.was_separate();
    beat_.was_separate();
    NoteMeaning note = slurred;
    note.connection = Connection::separate;
    const Reading reading = reader_.read_parted(rhythm_, nothing_ahead);
    if (slurred.read) use(reading, note);
    return note;
}

std::optional<HeldKey> Phrase::key_up(const Gesture& gesture) noexcept { return key_up(gesture.pitch, gesture.at); }

std::optional<HeldKey> Phrase::key_up(Midi7 pitch, Time at) noexcept
{
    for (std::size_t i = 0; i < keys_.size(); ++i) {
        if (keys_[i].pitch != pitch) continue;
        const HeldKey up = keys_[i];
        keys_.erase_at(i);
        learn_from(up, at);
        if (keys_.empty()) {
            silent_since_ = at;
            overlaps_.let_go(to_seconds(at - up.since));
        }
        if (only_voices(pitch, at)) rhythm_.key_up(at);
        return up;
    }
    return std::nullopt;
}

// What a key that comes up tells about it and about those that stay down.
void Phrase::learn_from(const HeldKey& up, Time at) noexcept
{
    const HeldKey* newer = nullptr;
    for (const HeldKey& key : keys_) {
        if (newer == nullptr && up.since < key.since && to_seconds(key.since - up.since) > chord_window_) newer = &key;
    }
    if (newer != nullptr && !is_voice(up, newer->pitch, at)) {
        const Seconds overlap = to_seconds(at - newer->since);
        if (up.guessed && overlap < voices_.patience(interval(up.pitch, newer->pitch)))
            voices_.heard_one();
        else if (up.guessed)
            voices_.heard_two();
        voices_.overlapped(overlap);
    }
    for (HeldKey& key : keys_) {
        if (interval(key.pitch, up.pitch) <= step) continue;
        const bool began_before = key.since < up.since && to_seconds(up.since - key.since) > chord_window_;
        const bool began_after = up.since < key.since && to_seconds(key.since - up.since) > chord_window_;
        if (began_after) continue;
        const Time from = began_before ? up.since : at;
        if (from < key.outlasts_from) key.outlasts_from = from;
        key.spans = key.spans || began_before;
    }
}

// The place in the list of the note that the newest key's note follows.
std::size_t Phrase::moving(const FixedVector<std::size_t, key_limit>& sounding) const noexcept
{
    const HeldKey& newest = keys_.back();
    Time youngest = keys_[sounding[0]].since;
    for (const std::size_t i : sounding)
        if (youngest < keys_[i].since) youngest = keys_[i].since;
    std::size_t best = 0;
    int least = 1'000;
    for (std::size_t n = 0; n < sounding.size(); ++n) {
        const HeldKey& key = keys_[sounding[n]];
        const bool older = to_seconds(youngest - key.since) > chord_window_;
        const int way = interval(key.pitch, newest.pitch) + (is_voice(key, newest.pitch, newest.since) ? leave_a_voice : 0) +
                        (older ? leave_the_older : 0);
        if (way > least || (way == least && key.since < keys_[sounding[best]].since)) continue;
        least = way;
        best = n;
    }
    return best;
}

Phrase::Staying Phrase::staying() const noexcept
{
    const HeldKey& newest = keys_.back();
    const auto voice = [&](std::size_t i) { return is_voice(keys_[i], newest.pitch, newest.since); };
    Staying stay;
    FixedVector<std::size_t, key_limit> silent_voices;
    bool all_voices = true;
    for (std::size_t i = 0; i + 1 < keys_.size(); ++i) {
        if (!keys_[i].silent) {
            stay.keys.push_back(i);
            all_voices = all_voices && voice(i);
        } else if (voice(i) && !keys_[i].left) {
            silent_voices.push_back(i);
        }
    }
    if (all_voices && !stay.keys.empty()) return stay;
    // The one note that sounds is what the newer one follows, unless it is taken for a voice.
    if (stay.keys.size() == 1) {
        const HeldKey& only = keys_[stay.keys[0]];
        const Seconds held = to_seconds(newest.since - only.since);
        stay.guessed = silent_voices.empty() && voices_.sounds_on(interval(only.pitch, newest.pitch), held, rhythm_.expected_interval());
        if (!stay.guessed) stay.keys.clear();
    } else if (!stay.keys.empty()) {
        stay.keys.erase_at(moving(stay.keys));
    }
    // A voice that had to fall silent comes back with the next note that it goes with.
    if (stay.keys.empty()) stay.keys = silent_voices;
    return stay;
}

Company Phrase::company(const Playable& playable) noexcept
{
    const HeldKey newest = keys_.back();
    const auto voice = [&](std::size_t i) { return is_voice(keys_[i], newest.pitch, newest.since); };
    const auto away = [&](std::size_t i) { return interval(keys_[i].pitch, newest.pitch); };
    const Staying stay = staying();
    Company company;
    std::size_t best = keys_.size();
    for (const std::size_t i : stay.keys) {
        if (!playable[i]) continue;
        const bool better = best == keys_.size() || (voice(i) && !voice(best)) || (voice(i) == voice(best) && away(i) < away(best));
        if (better) best = i;
    }
    for (const std::size_t i : stay.keys) company.torn = company.torn || (voice(i) && i != best);
    if (best == keys_.size()) return company;
    company.note = keys_[best].note;
    company.voice = voice(best);
    keys_[best].guessed = stay.guessed;
    if (company.voice) voices_.heard_two();
    return company;
}

HeldKey* Phrase::find(std::uint32_t note) noexcept
{
    for (HeldKey& key : keys_)
        if (key.note == note) return &key;
    return nullptr;
}

const HeldKey* Phrase::held(std::uint32_t note) const noexcept
{
    for (const HeldKey& key : keys_)
        if (key.note == note) return &key;
    return nullptr;
}

void Phrase::fell_silent(std::uint32_t note, Time due) noexcept
{
    HeldKey* key = find(note);
    if (key == nullptr) return;
    key->silent = true;
    key->due = due;
}

void Phrase::was_left(std::uint32_t note) noexcept
{
    fell_silent(note, Time::never());
    if (HeldKey* key = find(note)) key->left = true;
}

void Phrase::sounds(std::uint32_t note) noexcept
{
    HeldKey* key = find(note);
    if (key == nullptr) return;
    key->silent = false;
    key->due = Time::never();
}

// It stayed down for longer than any legato: it was a voice of its own from the start.
void Phrase::brought_back(std::uint32_t note, Midi7 under) noexcept
{
    sounds(note);
    voices_.heard_two();
    HeldKey* key = find(note);
    if (key == nullptr) return;
    key->outlasts_from = key->since;
    key->spans = key->spans || interval(key->pitch, under) > step;
}

void Phrase::choose(Technique technique) noexcept
{
    chosen_ = true;
    technique_ = technique;
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
