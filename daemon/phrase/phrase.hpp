// The room that reads the playing: gestures in, notes with meaning out.
//   in       key gestures, tempo, meter, clocks and taps, wanted loudness (0..1)
//   out      for each key down: how it hangs together with what sounds, what to expect of it, its technique,
//            its place in the bar
//   thread   the player's.  Real-time safe: yes.
//   Errors   more keys than key_limit are refused (KeyDown::refused).
#pragma once

#include "base/fixed_vector.hpp"
#include "hear/hear.hpp"
#include "phrase/bar_count.hpp"
#include "phrase/beat_keeper.hpp"
#include "phrase/overlaps.hpp"
#include "phrase/rhythm.hpp"
#include "phrase/technique_reader.hpp"
#include "phrase/voices.hpp"

#include <array>
#include <optional>

namespace bowarm
{

enum class Connection : std::uint8_t {
    separate,  // nothing sounds: a new attack
    over_held, // the keys that are down are voices of their own, and the voice that moves was silent: a new attack
    slurred,   // a key was still down: the same bow
    chord,     // joins the notes that have just begun
};

struct NoteMeaning {
    bool refused{false};
    Connection connection{Connection::separate};
    bool first{false};            // nothing has sounded before
    Seconds gap;                  // silence before it; 0 when connected
    Seconds expected;             // how long it is likely to last
    bool short_after_long{false}; // the short note of a dotted figure
    bool uneven{false};           // the last lengths differ, as in a tune
    bool rhythm_known{false};     // false: that is a mere default
    Technique technique{Technique::detache};
    bool technique_chosen{false};
    std::optional<Family> read; // empty: the technique was not read from the playing
    double accent{1};           // velocity over the running average
    BeatPlace place;
};

struct HeldKey {
    Midi7 pitch;
    Source source;
    Time since;
    std::uint32_t note{0};
    Midi7 velocity;
    bool silent{false};                // down, but a newer note has taken its place
    bool left{false};                  // down, but its chord was broken and the bow has left it for good
    Time due{Time::never()};           // when it is brought back, if it is still down and silent then
    bool guessed{false};               // it sounds on under a newer note, though nothing has shown it to be a voice of its own
    Time outlasts_from{Time::never()}; // since when it has been lasting longer than a note a leap away that has ended
    bool spans{false};                 // that note began after it, too
};

// What goes on sounding when another note begins over it: at most one note, since two strings are what a bow holds.
struct Company {
    std::optional<std::uint32_t> note; // of a key that is down
    bool voice{false};                 // it has shown itself to be a voice of its own
    bool torn{false};                  // a voice of its own has to end, because the two cannot be played together
};

struct PhraseConfig {
    Seconds chord_window;
    double tempo{0};
    BarMeter meter;
    ReadingLimits limits;
};

class Phrase
{
public:
    static constexpr std::size_t key_limit = 32;

    explicit Phrase(const PhraseConfig& config);

    // wanted: how loud; hand: where the loudness controller stands, empty until it has moved; ahead: what is known to follow.
    NoteMeaning key_down(const Gesture& gesture, Loudness wanted, std::optional<Loudness> hand, bool read_technique,
                         const Ahead& ahead = nothing_ahead) noexcept;
    // The key as it was; empty when it was not down.
    std::optional<HeldKey> key_up(const Gesture& gesture) noexcept;
    std::optional<HeldKey> key_up(Midi7 pitch, Time at) noexcept;

    // Whether each key that is down can be played together with the newest, in the order of keys().
    using Playable = std::array<bool, key_limit>;
    // Which of the older notes goes on under the newest key.
    Company company(const Playable& playable) noexcept;
    // A key that is down stops or starts sounding; due: when it wants to be brought back.
    void fell_silent(std::uint32_t note, Time due) noexcept;
    void sounds(std::uint32_t note) noexcept;
    // The bow goes on to the upper notes of its chord; it does not come back.
    void was_left(std::uint32_t note) noexcept;
    void brought_back(std::uint32_t note, Midi7 under) noexcept;
    Seconds patience(int interval) const noexcept { return voices_.patience(interval); }
    const HeldKey* held(std::uint32_t note) const noexcept;
    Time group_onset() const { return group_onset_; }

    void stroke_began(Time at, Direction direction, bool begins_group) noexcept
    {
        bar_count_.stroke_began(beat_.place(at), direction, begins_group);
    }
    std::optional<Seconds> usual_stroke(Time at) const noexcept { return bar_count_.usual_length(beat_.place(at)); }
    std::optional<Direction> bowed_last_time(Time at) const noexcept { return bar_count_.last_time(beat_.place(at)); }
    StrokesAhead strokes_ahead(Time at) const noexcept { return bar_count_.ahead(beat_.place(at), rhythm_.expected_interval()); }
    // Whether a key that came up that long after a newer one went down overlapped it only by accident.
    bool was_accident(Seconds held, Seconds overlap) noexcept { return overlaps_.by_accident(held, overlap); }
    // The newest note was no slur after all: the same note with what it means now.
    NoteMeaning was_separate(const NoteMeaning& slurred) noexcept;
    void forget_keys() noexcept { keys_.clear(); }

    void choose(Technique technique) noexcept;
    void read_again() noexcept { chosen_ = false; }
    // Tempo, meter, clocks and taps; other gestures mean nothing here.
    void tell_time(const Gesture& gesture) noexcept;

    BeatPlace place(Time at) const noexcept { return beat_.place(at); }
    const FixedVector<HeldKey, key_limit>& keys() const { return keys_; }
    bool technique_chosen() const { return chosen_; }
    Technique technique() const { return technique_; }
    Hertz rate() const { return rhythm_.rate(); }
    // 0 while nobody told the tempo.
    Seconds quarter(Time at) const { return beat_.quarter(at); }

private:
    Connection connect(Midi7 pitch, Time at) const noexcept;
    bool is_voice(const HeldKey& key, Midi7 newer, Time at) const noexcept;
    bool only_voices(Midi7 newer, Time at) const noexcept;
    void learn_from(const HeldKey& up, Time at) noexcept;
    // Places in keys() of the older keys that may sound on under the newest, if a hand can hold them.
    struct Staying {
        FixedVector<std::size_t, key_limit> keys;
        bool guessed{false};
    };
    Staying staying() const noexcept;
    std::size_t moving(const FixedVector<std::size_t, key_limit>& sounding) const noexcept;
    HeldKey* find(std::uint32_t note) noexcept;
    bool repeats(Midi7 pitch) const noexcept;
    void use(const Reading& reading, NoteMeaning& note) noexcept;
    double accent_of(Midi7 velocity) noexcept;

    Seconds chord_window_;
    BeatKeeper beat_;
    Rhythm rhythm_;
    BarCount bar_count_;
    TechniqueReader reader_;
    Voices voices_;
    Overlaps overlaps_;
    FixedVector<HeldKey, key_limit> keys_; // oldest first
    bool chosen_{false};
    Technique technique_{Technique::detache};
    bool any_{false};
    Time group_onset_;                                   // of the first note of the newest chord or note
    FixedVector<Midi7, key_limit> group_, group_before_; // pitches of the newest chord or note, and of the one before
    Time silent_since_;
    double average_velocity_{0};
};

} // namespace bowarm
