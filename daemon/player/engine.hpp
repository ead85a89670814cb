// The joined rooms of one player; see player.hpp for what it promises.
//   engine.cpp         gestures and wakes
//   engine_hold.cpp    gestures wait for their chord, where that is asked for
//   engine_ahead.cpp   what waits is looked at, where a delay makes that worth it
//   engine_notes.cpp   notes begin, are slurred and end
//   engine_voices.cpp  notes that sound on under newer ones, and those that are brought back
//   engine_stroke.cpp  strokes begin, turn and end; the motion is followed on the grid
//   engine_facts.cpp   what is told to the watchers
#pragma once

#include "bow/bow.hpp"
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
    };
    struct RawNote {
        Midi7 pitch;
        Source source;
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
    Time next_release() const noexcept;
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
    void pass_on(const Gesture& gesture, Sink& sink) noexcept;
    void panic(Time at, Sink& sink) noexcept;
    void silence(Time at, bool sound_off, Sink& sink) noexcept;
    void release_source(Source source, Time at, Sink& sink) noexcept;

    // engine_notes.cpp
    static Midi7 mended(Midi7 velocity) noexcept;
    void key_down(const Gesture& gesture, Sink& sink) noexcept;
    void key_up(const Gesture& gesture, Sink& sink) noexcept;
    void attack(const Gesture& gesture, const NoteMeaning& note, const Company& company, Sink& sink) noexcept;
    void slur_to(const Gesture& gesture, const NoteMeaning& note, const Company& company, Sink& sink) noexcept;
    void join_chord(const Gesture& gesture, const NoteMeaning& note, Sink& sink) noexcept;
    void pluck(const Gesture& gesture, const NoteMeaning& note, Sink& sink) noexcept;
    void part_by_accident(Time at, Sink& sink) noexcept;
    void reconsider(Time at, Sink& sink) noexcept;
    void return_to(const HeldKey& key, const Company& company, Time at, Sink& sink) noexcept;
    Sounding make_sounding(Midi7 pitch, Source source, std::uint32_t note, Midi7 velocity, const Voice& voice, Time at,
                           Sink& sink) noexcept;
    void will_speak(const Voice& voice, Midi7 velocity, std::optional<int> interval) noexcept;
    void sound(Bundle& bundle, const Sounding& note, const Voice& voice, double accent) noexcept;
    void end_note(std::size_t index, Time at, Sink& sink) noexcept;
    static bool is_short(Technique technique) noexcept;
    static Seconds patience(const Voice& voice) noexcept;
    bool keeps_bow(Technique technique) const noexcept;
    bool may_slur(Technique technique) const noexcept;
    void free_key(Midi7 pitch, Time at, Sink& sink) noexcept;
    std::optional<Midi7> target_key(Midi7 pitch) const noexcept;
    void was_long(Time at) noexcept;
    void revise(Time at, Sink& sink) noexcept;
    Voice voice_of(Technique technique, Time at, Sink& sink) noexcept;

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

    // engine_stroke.cpp
    void begin_stroke(Time at, const NoteMeaning& note, const Sounding& first, Sink& sink) noexcept;
    void settled_beforehand(std::uint32_t note, ChoiceNeeds& needs) const noexcept;
    Attack attack_for(Time at, Midi7 pitch) const noexcept;
    void set_moving(Time at, const NoteMeaning& note, Midi7 pitch) noexcept;
    Seconds small_stroke(Time at) const noexcept;
    NoteMeaning as_playable(const NoteMeaning& note, Time at, Sink& sink) noexcept;
    void throw_contact(Time at, Sink& sink) noexcept;
    bool beat_to_turn_on(Time at, MetresPerSecond fastest, Metres needed) const noexcept;
    bool bounds_of_its_own() const noexcept;
    void end_stroke(Time at, Sink& sink) noexcept;
    void let_go(Time at) noexcept;
    ChoiceNeeds needs_for(Time at, const NoteMeaning& note) const noexcept;
    const Motion& neutral() const noexcept;
    MotionPlan plan_at(Time at, Direction direction, Seconds remaining) noexcept;
    Seconds remaining(Time at) const noexcept;
    void tick(Time at, Sink& sink) noexcept;
    void follow_plan(Time at, Sink& sink) noexcept;
    void begin_turn(Time at, Sink& sink) noexcept;
    void finish_turn(Time at, Sink& sink) noexcept;
    void see(Time at) noexcept;
    BowState bow_state(Time at) const noexcept;
    void send_curves(Time at, Sink& sink) noexcept;

    // engine_facts.cpp
    Fact about_stroke(FactKind kind, Time at) const noexcept;
    void tell_note_began(const Sounding& note, Time at, Technique technique, bool slurred, Sink& sink) noexcept;
    void tell_part_ended(const Sounding& note, Time at, Sink& sink) noexcept;
    void tell_stroke_began(Time at, const Choice& choice, bool forced, Sink& sink) noexcept;
    void tell_stroke_ended(Time at, Sink& sink) noexcept;
    void tell(FactKind kind, Time at, std::uint32_t note, Sink& sink) noexcept;
    void warn(Warning warning, Time at, double number, std::uint32_t note, Sink& sink) noexcept;
    BarPlace bar_place(Time at) const noexcept;

    Loudness loudness() const noexcept;

    PlayerConfig config_;
    Duration hold_;
    bool foresees_;
    Waiting waiting_;
    Ahead ahead_; // of the notes that are about to begin
    std::optional<Seconds> speaks_;
    Midi7 spoken_key_; // of the note that began last
    int foreseen_{0};  // notes known to join the one that is about to begin
    Hearing hearing_;
    Phrase phrase_;
    Planner planner_;
    Target target_;
    BowMotion bow_;

    Time now_;
    std::optional<Loudness> person_loudness_; // empty until its controller has moved
    Loudness velocity_loudness_{0.6};
    double contact_wish_{0.5};
    double amount_{1};
    bool same_bow_{false};
    bool alternate_{false};
    std::optional<Direction> direction_wish_;
    bool retake_wish_{false};
    bool bypass_{false};
    bool bypass_wanted_{false};

    FixedVector<Sounding, sounding_limit> sounding_;
    FixedVector<RawNote, raw_limit> raw_;
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
    mutable Motion neutral_; // as the table says for the loudness and string it was asked for last
    mutable Loudness neutral_for_{-1};
    mutable std::uint8_t neutral_string_{no_string};
    GivesWay gave_way_{GivesWay::no};
    Time last_turn_{std::numeric_limits<std::int64_t>::min() / 2};
    Time last_sent_{std::numeric_limits<std::int64_t>::min() / 2};

    Snapshot counts_; // the running totals and last warnings, kept in the form they are read
};

} // namespace bowarm
