// The room that reads the playing: gestures in, notes with meaning out.
//   in       key gestures, tempo, meter, clocks and taps, wanted loudness (0..1)
//   out      for each key down: how it hangs together with what sounds, what to expect of it, its technique,
//            its place in the bar
//   thread   the player's.  Real-time safe: yes.
//   Errors   more keys than key_limit are refused (KeyDown::refused).
#pragma once

#include "base/fixed_vector.hpp"
#include "hear/hear.hpp"
#include "phrase/beat_keeper.hpp"
#include "phrase/rhythm.hpp"
#include "phrase/technique_reader.hpp"

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
    double accent{1}; // velocity over the running average
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
    BarMeter meter;
    ReadingLimits limits;
};

class Phrase
{
public:
    static constexpr std::size_t key_limit = 32;

    explicit Phrase(const PhraseConfig& config);

    NoteMeaning key_down(const Gesture& gesture, Loudness wanted, bool read_technique) noexcept;
    // False when that key was not down.
    bool key_up(const Gesture& gesture) noexcept;
    bool key_up(Midi7 pitch, Time at) noexcept;
    void was_separate() noexcept;
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
    Connection connect(Time at) const noexcept;
    double accent_of(Midi7 velocity) noexcept;

    Seconds chord_window_;
    BeatKeeper beat_;
    Rhythm rhythm_;
    TechniqueReader reader_;
    FixedVector<HeldKey, key_limit> keys_; // oldest first
    bool chosen_{false};
    Technique technique_{Technique::detache};
    bool any_{false};
    Time group_onset_; // of the first note of the newest chord or note
    Time silent_since_;
    double average_velocity_{0};
};

} // namespace bowarm
