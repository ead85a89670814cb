// The room that speaks to one sampler: strokes and curves in, messages out, only what differs from what was sent.
//   selection.hpp  what selects a sound, and what is selected
//   curves.hpp     the bow's motion as controllers
//   velocity.hpp   of the outgoing notes
//   passing.hpp    the person's own controllers
//   in       what is wanted, the state of the bow, keys; values in the units of the types
//   out      messages in a safe order: switch, first controller values, note
//   thread   the player's.  Real-time safe: yes.
//   Errors   a technique with neither way nor fallback sounds with whatever is in force (Voice::missing).
#pragma once

#include "target/bundle.hpp"
#include "target/curves.hpp"
#include "target/passing.hpp"
#include "target/selection.hpp"
#include "target/velocity.hpp"

namespace bowarm
{

// What a note is to sound with, beside its technique.
struct Wanted {
    Direction direction{Direction::down};
    Midi7 velocity{}; // as played
    Loudness loudness{};
    bool muted{false};
    ContactZone zone{ContactZone::ordinary};
};

// What the target is asked to sound with.
struct Voice {
    Technique technique{Technique::detache}; // after fallback
    const TechniqueWay* way{nullptr};
    Selection::Wanted selected{}; // the switches of the technique, the mute, and where the bow runs
    Channel channel;
    bool missing{false};
};

class Target
{
public:
    explicit Target(const TargetSpec& spec);

    Voice voice(Technique technique, const Wanted& wanted = {}) const noexcept;
    // The technique after fallback; itself where the target has neither a way nor a fallback.
    Technique sounds_as(Technique technique) const noexcept;
    // Selects the sound, as far as it is not selected already; the person's controllers come along to another channel.
    void add_switch(Bundle& bundle, const Voice& voice) noexcept;
    // The curves' values that differ from those sent.
    void add_first_values(Bundle& bundle, Channel channel, const BowState& state, Begins begins) noexcept;
    // The values the target is to have before anything has sounded.
    void add_initial_values(Bundle& bundle, Channel channel) noexcept;
    void add_note_on(Bundle& bundle, Channel channel, Midi7 key, Midi7 velocity) noexcept;
    void add_note_off(Bundle& bundle, Channel channel, Midi7 key) noexcept;
    // Values that have moved far enough, at most one a curve.
    CurveValues moved(Channel channel, const BowState& state) noexcept
    {
        return sends_curves_ ? curves_.moved(spec_, channel, state) : CurveValues{};
    }
    // Every value that differs, whatever its dead band and rate.
    CurveValues settled(Channel channel, const BowState& state) noexcept
    {
        return sends_curves_ ? curves_.first(spec_, channel, state, Begins::anew) : CurveValues{};
    }
    void pick_up(Time at) noexcept { curves_.pick_up(at); }
    // The message as it goes on to the target; nothing when the arm speaks there itself, or the file drops it.
    void pass(Bundle& bundle, const Message& message) noexcept { passing_.pass(bundle, spec_, channel_, message); }
    // What leaves nothing sounding, held or bent on a channel; loudness stays as it is.  For every channel, then forget().
    void add_silence(Bundle& bundle, Channel channel, bool sound_off) noexcept;
    void forget() noexcept;
    // Whether the target stands at a switch of that technique, in either direction.
    bool has_selected(const Voice& voice) const noexcept;
    // What another has sent to the same target counts as sent.
    void take_over(const Target& other) noexcept;
    // Off: no curve is sent, at onsets either; somebody else sends them.
    void send_curves(bool on) noexcept { sends_curves_ = on; }
    void forget_switch() noexcept { selection_.forget(); }
    // A key that the target takes for a switch, not for a note.
    bool is_switch(Midi7 key) const noexcept { return selects(spec_, note_on(spec_.channel, key, Midi7::nearest(1))); }

    Midi7 velocity(const Voice& voice, const NoteStart& start) const noexcept { return velocity_of(voice.way, voice.technique, start); }
    const TargetSpec& spec() const { return spec_; }
    // Where the last voice sounds.
    Channel channel() const noexcept { return channel_; }
    // All that the target listens on.
    const FixedVector<Channel, 16>& channels() const noexcept { return channels_; }

private:
    const Switch* state(TargetState wanted) const noexcept;

    TargetSpec spec_;
    FixedVector<Channel, 16> channels_;
    Selection selection_;
    Curves curves_;
    Passing passing_;
    Channel channel_;
    bool sends_curves_{true};
};

} // namespace bowarm
