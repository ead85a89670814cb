// The room that reads the playing: gestures in, notes with meaning out.
//   in       key gestures, tempo and meter, wanted loudness (0..1)
//   out      for each key down: how it hangs together with what sounds, what to expect of it, its technique,
//            its place in the bar
//   thread   the player's.  Real-time safe: yes.
//   Errors   more keys than key_limit are refused (KeyDown::refused).
#pragma once

#include "base/fixed_vector.hpp"
#include "hear/hear.hpp"
#include "phrase/meter.hpp"
#include "phrase/rhythm.hpp"
#include "phrase/technique_reader.hpp"

#include <optional>

namespace bowarm
{

enum class Connection : std::uint8_t {
    separate, // nothing sounds: a new attack
    slurred,  // a key was still down: the same bow
    chord,    // joins the notes that have just begun
};

struct NoteMeaning {
    bool refused{false};
    Connection connection{Connection::separate};
    bool first{false};            // nothing has sounded before
    Seconds gap;                  // silence before it; 0 when connected
    Seconds expected;             // how long it is likely to last
    bool short_after_long{false}; // the short note of a dotted figure
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
};

struct PhraseConfig {
    Seconds chord_window;
    double tempo{0};
    std::uint8_t meter_beats{0};
    std::uint8_t meter_unit{2};
    ReadingLimits limits;
};

class Phrase
{
public:
    static constexpr std::size_t key_limit = 32;

    explicit Phrase(const PhraseConfig& config);

    // wanted: how loud; hand: where the loudness controller stands, empty until it has moved.
    NoteMeaning key_down(const Gesture& gesture, Loudness wanted, std::optional<Loudness> hand, bool read_technique) noexcept;
    // False when that key was not down.
    bool key_up(const Gesture& gesture) noexcept;
    bool key_up(Midi7 pitch, Time at) noexcept;
    // The newest note was no slur after all: the same note with what it means now.
    NoteMeaning was_separate(const NoteMeaning& slurred) noexcept;
    void forget_keys() noexcept { keys_.clear(); }

    void choose(Technique technique) noexcept;
    void read_again() noexcept { chosen_ = false; }
    void tempo(const Gesture& gesture) noexcept;
    void meter(const Gesture& gesture) noexcept;

    BeatPlace place(Time at) const noexcept { return meter_.place(at); }
    const FixedVector<HeldKey, key_limit>& keys() const { return keys_; }
    bool technique_chosen() const { return chosen_; }
    Technique technique() const { return technique_; }
    Hertz rate() const { return rhythm_.rate(); }
    Seconds quarter() const { return meter_.quarter(); }

private:
    Connection connect(Time at) const noexcept;
    bool repeats(Midi7 pitch) const noexcept;
    void use(const Reading& reading, NoteMeaning& note) noexcept;
    double accent_of(Midi7 velocity) noexcept;

    Seconds chord_window_;
    Meter meter_;
    Rhythm rhythm_;
    TechniqueReader reader_;
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
