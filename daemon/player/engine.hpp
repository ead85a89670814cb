// The joined rooms of one player; see player.hpp for what it promises.
//   engine.cpp         gestures and wakes
//   engine_hold.cpp    gestures wait for their chord, where that is asked for
//   engine_ahead.cpp   what waits is looked at, where a delay makes that worth it
//   engine_notes.cpp   notes begin, are slurred and end
//   engine_sounding.cpp what sounds at the target: keys, voices, velocities
//   engine_voices.cpp  notes that sound on under newer ones, and those that are brought back
//   engine_pluck.cpp   plucked notes and raked chords
//   engine_hands.cpp   what hands can do: limits, changes that take time, techniques that give way, notes that end by themselves
//   engine_fingers.cpp the left hand: strings, places, and what cannot be held together
//   engine_chords.cpp  chords of three notes and more are broken
//   engine_vibrato.cpp the person's vibrato, where the arm shapes it
//   engine_stroke.cpp  strokes begin, turn and end; the motion is followed on the grid
//   engine_facts.cpp   what is told to the watchers
#pragma once

#include "bow/bow.hpp"
#include "bow/chord.hpp"
#include "bow/fingerboard.hpp"
#include "bow/low_tune.hpp"
#include "bow/vibrato.hpp"
#include "bow/weight.hpp"
#include "hear/hear.hpp"
#include "phrase/phrase.hpp"
#include "player/bow_motion.hpp"
#include "player/player.hpp"
#include "player/waiting.hpp"
#include "player/watch.hpp"
#include "target/target.hpp"

#include <limits>
#include <optional>
#include <utility>
#include <vector>

namespace bowarm
{

class Engine
{
public:
    explicit Engine(const PlayerConfig& config);

    void bow_by(std::vector<PlannedStroke> plan) { plan_ = std::move(plan); }
    void obey(std::vector<WishedStroke> wishes) { wishes_ = std::move(wishes); }
    void on(const Input& input, Sink& sink) noexcept;
    Time next_wake() const noexcept;
    void wake(Sink& sink) noexcept;
    void read(Snapshot& snapshot) const noexcept;
    bool sounding() const noexcept { return !sounding_.empty() || !raw_.empty(); }
    // The key at the target; empty where the note is dropped.
    std::optional<Midi7> target_key(Midi7 pitch) const noexcept;
    // Whether a note of this pitch would need a key that sounds here.
    bool sounds_at(Midi7 pitch) const noexcept;
    // Several that speak to one sampler: what it has got from another, and whether this one sends curves and passes messages on.
    void take_over(const Engine& other) noexcept { target_.take_over(other.target_); }
    void lead(bool on) noexcept;
    // The number of the next note-on, where several share the notes.
    void count_from(std::uint32_t note) noexcept { hearing_.count_from(note); }
    // How long after them the sampler speaks the notes that began in what was sent last; asked once for each bundle.
    std::optional<Seconds> take_speaking() noexcept { return std::exchange(speaks_, std::nullopt); }

private:
    static constexpr std::size_t sounding_limit = 16;
    static constexpr std::size_t raw_limit = 64;

    struct Sounding {
        Midi7 pitch; // of the key that holds it
        Midi7 key;   // that sounds at the target
        Channel channel;
        Source source;
        std::uint32_t note{0};
        std::uint8_t string{0};
        Midi7 velocity;
        Watch part;
        Time least{std::numeric_limits<std::int64_t>::min()}; // it sounds until then, even if its key comes up before
        Time until{Time::never()};                            // its key is up, and it ends then
    };
    // An upper note of a chord that waits for the bow to come over from the lower ones.
    struct Rising {
        Midi7 pitch;
        Source source;
        std::uint32_t note{0};
        Midi7 velocity;
        double accent{1};
        bool up{false}; // its key has come up again
    };
    struct RawNote {
        Midi7 pitch;
        Source source;
    };
    // A plucked note whose string the finger has not reached yet.
    struct Raked {
        Midi7 pitch;
        Source source;
        std::uint32_t note{0};
        Midi7 velocity;
        double accent{1};
        Technique technique{Technique::pizzicato};
        Time due;
        bool let_go{false}; // its key is up already
    };
    // The present stroke of the bow, or the present pluck.
    struct Stroke {
        std::uint32_t number{no_number};
        std::uint32_t first_note{no_number};
        bool active{false};
        bool plucked{false};
        Technique technique{Technique::detache};
        std::optional<Family> read; // empty: the technique was not read
        Direction direction{Direction::up};
        Time began;
        Seconds expected;
        bool end_known{false}; // expected is how long it will be
        std::uint8_t string{0};
        double accent{1};
        Motion planned;
        bool retake{false};
        bool hooked{false};
        bool clean{true};
        bool slurred{false};   // it carries more than one note
        bool revisable{false}; // its technique was read, and the key may prove it wrong
        Loudness reachable{1}; // the arm can give, where the configuration asks to soften
        int thrown{0};         // contacts of a thrown bow that have sounded
        Watch watch;
    };

    // engine_hold.cpp
    void wait(const Gesture& gesture, Sink& sink) noexcept;
    Time next_release() const noexcept { return waiting_.empty() ? Time::never() : waiting_[0].at + hold_; }
    void release_next(Time at, Sink& sink) noexcept;
    void release_chord(std::size_t gestures, Time at, Sink& sink) noexcept;
    std::size_t through_chord() const noexcept;
    void do_not_wait(const Gesture& gesture, Sink& sink) noexcept;

    // engine_ahead.cpp
    using Chord = FixedVector<Gesture, Phrase::key_limit>;
    void part_beforehand(Time at, Sink& sink) noexcept;
    Ahead look_ahead(const Chord& chord, Time at) const noexcept;
    void foresee(NoteMeaning& note) const noexcept;
    void foresee_end(Time at, Time began) noexcept;

    // engine.cpp
    void apply(const Gesture& gesture, Sink& sink) noexcept;
    void set_bypass(bool on, Time at, Sink& sink) noexcept;
    void apply_waiting_bypass(Time at, Sink& sink) noexcept;
    void raw_key_down(const Gesture& gesture, Sink& sink) noexcept;
    bool raw_key_up(const Gesture& gesture, Sink& sink) noexcept;
    void raw_loudness(Time at, Sink& sink) noexcept;
    void greet(Time at, Sink& sink) noexcept;
    void pass_on(const Gesture& gesture, Sink& sink) noexcept;
    void panic(Time at, Sink& sink) noexcept;
    void stand_at(const Gesture& gesture, Sink& sink) noexcept;
    void silence(Time at, bool sound_off, Sink& sink) noexcept;
    void release_source(Source source, Time at, Sink& sink) noexcept;

    // engine_notes.cpp
    void key_down(const Gesture& gesture, Sink& sink) noexcept;
    void key_up(const Gesture& gesture, Sink& sink) noexcept;
    void attack(const Gesture& gesture, const NoteMeaning& note, const Company& company, Sink& sink) noexcept;
    void slur_to(const Gesture& gesture, const NoteMeaning& note, const Company& company, Sink& sink) noexcept;
    void join_chord(const Gesture& gesture, const NoteMeaning& note, Sink& sink) noexcept;
    void part_by_accident(Time at, Sink& sink) noexcept;
    void reconsider(Time at, Sink& sink) noexcept;
    void return_to(const HeldKey& key, const Company& company, Time at, Sink& sink) noexcept;
    void fall_silent(Time at, Sink& sink) noexcept;
    static bool is_short(Technique technique) noexcept;
    static Seconds patience(const Voice& voice) noexcept;
    bool keeps_bow(Technique technique) const noexcept;
    bool may_slur(Technique technique) const noexcept;
    void was_long(Time at) noexcept;
    void revise(Time at, Sink& sink) noexcept;

    // engine_sounding.cpp
    Sounding without_string(Midi7 pitch, Source source, std::uint32_t note, Midi7 velocity, Time at) const noexcept;
    Sounding make_sounding(Midi7 pitch, Source source, std::uint32_t note, Midi7 velocity, Time at, Sink& sink) noexcept;
    void will_speak(const Voice& voice, Midi7 velocity, std::optional<int> interval) noexcept;
    void sound(Bundle& bundle, const Sounding& note, const Voice& voice, const NoteStart& start) noexcept;
    NoteStart start_of(const Sounding& note, double accent) const noexcept;
    Midi7 mended(const Sounding& note, const Voice& voice) const noexcept;
    void end_note(std::size_t index, Time at, Sink& sink) noexcept;
    void free_key(Midi7 pitch, Time at, Sink& sink) noexcept;
    bool is_low(Midi7 pitch) const noexcept;
    Wanted wanted(Midi7 velocity) const noexcept;
    Voice voice_of(Technique technique, Midi7 velocity, Time at, Sink& sink) noexcept;

    // engine_voices.cpp
    std::size_t index_of(std::uint32_t note) const noexcept;
    bool playable(const HeldKey& held, Midi7 other) const noexcept;
    Company company(const NoteMeaning& note, Time at, Sink& sink) noexcept;
    void end_in(Bundle& bundle, std::size_t index, const Gesture& cause, Sink& sink) noexcept;
    void end_but(std::optional<std::uint32_t> kept, const Gesture& cause, Bundle& bundle, Sink& sink) noexcept;
    void end_older_than_chord(const Gesture& cause, Bundle& bundle, Sink& sink) noexcept;
    void end_held_parts(Time at, Sink& sink) noexcept;
    void begin_held_parts(Time at) noexcept;
    std::optional<Sounding> take_up(const Company& company, const Voice& voice, Time at, Sink& sink) noexcept;
    Technique technique_over(Technique wanted, bool replaces) const noexcept;
    const HeldKey* returning(const HeldKey& up) const noexcept;
    void bring_back(Time at, Sink& sink) noexcept;
    void sound_again(const HeldKey& key, Time at, Sink& sink) noexcept;

    // engine_pluck.cpp
    void pluck(const Gesture& gesture, const NoteMeaning& note, Sink& sink) noexcept;
    void begin_pluck(const Gesture& gesture, const NoteMeaning& note, Sink& sink) noexcept;
    void arrange_rake(Time at) noexcept;
    void sound_raked(const Raked& raked, Time at, Sink& sink) noexcept;
    void sound_due(Time at, Sink& sink) noexcept;
    void sound_all_raked(Time at, Sink& sink) noexcept;
    bool let_go_raked(std::uint32_t note) noexcept;
    Time next_rake() const noexcept { return raked_.empty() ? Time::never() : raked_[0].due; }

    // engine_hands.cpp
    NoteMeaning as_playable(const NoteMeaning& note, Midi7 pitch, Time at, Sink& sink) noexcept;
    NoteMeaning as_bounced(const NoteMeaning& note, Time at, Sink& sink) noexcept;
    NoteMeaning as_harmonic(const NoteMeaning& note, Midi7 pitch, Time at, Sink& sink) noexcept;
    void take_harmonic_string(Technique technique, Sounding& note) const noexcept;
    void turn_hand(Technique technique, Time at, Sink& sink) noexcept;
    void judge_pluck_rate(Technique technique, Time at, Sink& sink) noexcept;
    void judge_tremolo(Time at, Sink& sink) noexcept;
    void judge_throw(const HeldKey& up, Time at, Sink& sink) noexcept;
    Time end_of_short(const NoteMeaning& note, Time at) const noexcept;
    void end_short(Time at, Sink& sink) noexcept;
    void end_of_length(Time at, Sink& sink) noexcept;
    double relaxed(Time at) const noexcept;
    Hertz rate_since_choice() const noexcept;
    bool goes_on_in_bow(const NoteMeaning& note, Time at) const noexcept;
    Seconds small_stroke(Time at) const noexcept;
    void throw_contact(Time at, Sink& sink) noexcept;

    // engine_fingers.cpp
    using Pitches = FixedVector<Midi7, sounding_limit>;
    void put_on_string(Sounding& note) noexcept;
    bool finger_as_chord(Sounding& note) noexcept;
    std::uint8_t string_for(Midi7 key) const noexcept;
    void wish_string(const StringName& name, bool on) noexcept;
    int stopped_at(const Sounding& note) const noexcept;
    Unplayable why_not(const Pitches& keys) const noexcept;
    Unplayable new_trouble(Midi7 key) const noexcept;
    Unplayable why_not_over_held(Midi7 newest) const noexcept;
    bool rather_stopped(const NoteMeaning& note) const noexcept;
    void warn_unplayable(Unplayable why, Time at, std::uint32_t note, Sink& sink) noexcept;

    // engine_chords.cpp
    bool breaks_chords() const noexcept;
    bool joins_broken_chord(const Gesture& gesture, const NoteMeaning& note, Sink& sink) noexcept;
    std::size_t chord_notes() const noexcept { return sounding_.size() + rising_.size(); } // that are bowed
    std::size_t place_in_chord(Midi7 pitch) const noexcept;
    void break_chord(Time at, Sink& sink) noexcept;
    void leave_lower(Bundle& bundle, Time at, Sink& sink) noexcept;
    void raise(Bundle& bundle, const Rising& note, Time at, Sink& sink) noexcept;
    bool keeps_sounding(const HeldKey& up, std::size_t index, Time at) noexcept;
    Time next_end() const noexcept
    {
        Time next = Time::never();
        for (const Sounding& s : sounding_)
            if (s.until < next) next = s.until;
        return next;
    }
    void end_due(Time at, Sink& sink) noexcept;
    void settle(Time at, Sink& sink) noexcept;

    // engine_vibrato.cpp
    void hear_vibrato(const Message& message, Time at, Sink& sink) noexcept;
    std::optional<Midi7> moved_vibrato(Time at) const noexcept;
    void add_vibrato(Bundle& bundle, Time at) noexcept;
    void send_vibrato(Time at, Sink& sink) noexcept;

    // engine_stroke.cpp
    void begin_stroke(Time at, const NoteMeaning& note, const Sounding& first, Sink& sink) noexcept;
    void settled_beforehand(std::uint32_t note, ChoiceNeeds& needs) const noexcept;
    Attack attack_for(Time at, Midi7 pitch) const noexcept;
    void set_moving(Time at, const NoteMeaning& note, Midi7 pitch) noexcept;
    bool beat_to_turn_on(Time at, Seconds lasts) const noexcept;
    bool bounds_of_its_own() const noexcept;
    void end_stroke(Time at, Sink& sink) noexcept;
    void let_go(Time at) noexcept;
    ChoiceNeeds needs_for(Time at, const NoteMeaning& note, Midi7 pitch) const noexcept;
    const Motion& neutral() const noexcept;
    MotionPlan plan_at(Time at, Direction direction, Seconds remaining) noexcept;
    Seconds remaining(Time at) const noexcept;
    void tick(Time at, Sink& sink) noexcept;
    void follow_plan(Time at, Sink& sink) noexcept;
    void begin_turn(Time at, Sink& sink) noexcept;
    void finish_turn(Time at, Sink& sink) noexcept;
    // motion: of the bow at that moment, speed as a magnitude, where it is known already.
    void see(Time at) noexcept;
    void see(Time at, const Motion& motion) noexcept;
    BowState bow_state(Time at) const noexcept;
    BowState bow_state(Time at, const Motion& motion) const noexcept;
    void send_curves(Time at, const Motion& motion, Sink& sink) noexcept;

    // engine_facts.cpp
    Fact about_stroke(FactKind kind, Time at) const noexcept;
    void tell_note_began(const Sounding& note, Time at, Technique technique, bool slurred, Sink& sink) noexcept;
    void tell_part_ended(const Sounding& note, Time at, Sink& sink) noexcept;
    void tell_stroke_began(Time at, const Choice& choice, bool forced, Sink& sink) noexcept;
    void tell_stroke_ended(Time at, Sink& sink) noexcept;
    void tell(FactKind kind, Time at, std::uint32_t note, Sink& sink) noexcept;
    void warn(Warning warning, Time at, double number, std::uint32_t note, Sink& sink, Unplayable why = Unplayable::no) noexcept;
    BarPlace bar_place(Time at) const noexcept;

    Loudness loudness() const noexcept;

    PlayerConfig config_;
    Duration hold_;
    bool foresees_;
    Waiting waiting_;
    Ahead ahead_;                   // of the notes that are about to begin
    std::optional<Seconds> speaks_; // of the notes in the bundle under way
    int foreseen_{0};               // notes known to join the one that is about to begin
    Hearing hearing_;
    Phrase phrase_;
    Planner planner_;
    Target target_;
    BowMotion bow_;
    LowTune low_tune_;
    Vibrato vibrato_;
    std::optional<Midi7> vibrato_sent_;

    Time now_;
    std::optional<Loudness> person_loudness_; // empty until its controller has moved
    Loudness velocity_loudness_{0.6};
    double contact_wish_{0.5};
    double amount_{1};
    bool same_bow_{false};
    bool alternate_{false};
    std::optional<Direction> direction_wish_;
    bool retake_wish_{false};
    bool leads_{true};
    bool bypass_{false};
    bool bypass_wanted_{false};

    FixedVector<Sounding, sounding_limit> sounding_;
    FixedVector<RawNote, raw_limit> raw_;
    FixedVector<Rising, 2> rising_; // never without a sounding note
    Time break_at_{Time::never()};
    HandPlace hand_;
    std::optional<std::uint8_t> wished_string_;
    bool open_strings_{false};
    bool rather_stopped_{false}; // the newest note
    Stroke stroke_;
    Loudness last_loudness_{0.6}; // when the last stroke began
    Direction last_direction_{Direction::up};
    bool bow_in_air_{true}; // nothing has been bowed yet
    std::vector<PlannedStroke> plan_;
    std::vector<WishedStroke> wishes_;
    ChoiceNeeds needs_;              // of the present stroke's choice
    std::optional<Time> slurred_at_; // the newest slur, while its overlap may prove an accident
    NoteMeaning slurred_note_;
    bool slurred_over_voice_{false};
    Time silent_since_;
    Seconds slur_length_{0}; // of the last stroke when it was slurred, else 0
    Time turn_middle_{Time::never()};
    Time revise_at_{Time::never()};
    Time mend_at_{Time::never()}; // the first moment at which a note that fell silent wants to be brought back
    std::optional<Time> fade_since_;
    Time short_ends_at_{Time::never()}; // the present stroke's notes, whose technique makes them shorter than their keys

    std::optional<Time> relaxed_since_; // the accent of a marcato is over
    bool ended_by_arm_{false};          // the newest silence is the technique's, not the person's
    bool second_of_pair_{false};        // the newest stroke is hooked onto the one before, as was asked
    int since_choice_{0};               // notes (a chord counts once) since a technique was chosen

    FixedVector<Raked, sounding_limit> raked_; // in the order in which they will sound
    std::optional<Time> last_rake_;            // when the newest plucked chord had its second note
    std::optional<Time> last_pluck_;           // of the present chord
    Direction rake_{Direction::down};          // down: from the lowest string up, as a down-bow takes them
    bool pluck_rate_told_{false};

    bool down_bows_{false};
    bool muted_{false};
    bool mute_moves_{false}; // and no note has begun since
    ContactZone zone_{ContactZone::ordinary};
    std::optional<RightHand> right_hand_; // empty: nothing has been played
    Time hand_busy_until_;
    Time shaking_since_;
    std::optional<Time> shaken_until_;
    bool shaking_told_{false};
    mutable Motion neutral_; // as the table says for the loudness and string it was asked for last
    mutable Loudness neutral_for_{-1};
    mutable std::uint8_t neutral_string_{no_string};
    GivesWay gave_way_{GivesWay::no};
    Time last_turn_{std::numeric_limits<std::int64_t>::min() / 2};
    Time turn_ends_{std::numeric_limits<std::int64_t>::min() / 2}; // of a change of bow inside a note
    Time last_onset_{std::numeric_limits<std::int64_t>::min() / 2};
    Midi7 last_key_;      // that began to sound at the target
    bool greeted_{false}; // the target has its initial values

    Snapshot counts_; // the running totals and last warnings, kept in the form they are read
};

} // namespace bowarm
