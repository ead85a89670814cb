// The engine: one bow arm with one instrument, or several at desks that share a part, joined from hear, phrase, bow, stroke and target.
//   in       inputs stamped with logical time; stamps never run backwards
//   out      messages, curves and facts through the Sink, all at the logical time of their cause
//   thread   one at a time; the engine thread owns it
//   Real-time safe: on, next_wake, wake and read never allocate, lock, log, or touch a clock.
//   Errors   none: odd input becomes a Warning fact.
//   Every input stamped t is to be applied after every wake due at or before t: use advance().
#pragma once

#include "bow/choice.hpp"
#include "bow/instrument.hpp"
#include "bow/vibrato.hpp"
#include "hear/controls.hpp"
#include "hear/input.hpp"
#include "player/fact.hpp"
#include "target/target_spec.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace bowarm
{

// Where a player's output goes.  Called on the player's thread; must not block, throw or allocate when live.
class Sink
{
public:
    // Sent together and in this order, never split: switch, first controller values, note.  At most bundle_limit messages.
    virtual void bundle(Time at, std::span<const Message> messages) noexcept = 0;
    // A moving value; where the wire is slow only the newest of a controller need be sent.
    virtual void curve(Time at, Controller controller, int value) noexcept = 0;
    virtual void fact(const Fact& fact) noexcept = 0;
    // What was known when the bow of this note's stroke was chosen; told again when more became known at once.
    virtual void decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept;

protected:
    Sink() = default;
    Sink(const Sink&) = default;
    Sink& operator=(const Sink&) = default;
    ~Sink() = default;
};

inline void Sink::decided(Time, std::uint32_t, const ChoiceNeeds&, Direction, bool) noexcept {}

// A stroke whose bow is settled beforehand, by the note that begins it.
struct PlannedStroke {
    std::uint32_t note{0};
    Direction direction{Direction::down};
    bool retake{false};
    std::optional<Direction> doubled{}; // how another player who doubles it bows it
};

// What the person asked of a stroke beforehand, by the note that begins it; stronger than plan, keys and pedals.
struct WishedStroke {
    std::uint32_t note{0};
    std::optional<Direction> direction;
    bool retake{false};
    bool same_bow{false}; // hooked onto the stroke before, from where the bow stands
};

enum class OutOfRange : std::uint8_t { pass, drop, octave };

inline constexpr std::uint8_t desks_at_most = 4;

// What a configuration says of one player.
struct PlayerConfig {
    Instrument instrument;
    TargetSpec target;
    Controls controls;
    Seconds chord_window{0.030}; // keys nearer than this join one stroke
    Seconds chord_hold{0};       // the first note of a possible chord waits this long for the others; 0: never, live
    Seconds delay{0};            // everything comes this much later, so that the arm knows what follows and a slow sampler speaks in time
    int players_on_cable{0};     // a DIN cable shared by so many players, this one counted; 0: the way out is as fast as need be
    Seconds lift_after{0.25};    // a rest this long lets the bow be lifted and set down anew
    bool soften_when_out_of_reach{false};
    OutOfRange out_of_range{OutOfRange::pass};
    Seconds chord_break{0.08};           // from the lower notes of a chord of three and more to the two that stay; 0: all at once
    bool open_strings{false};            // sustained notes, too, may be played on an open string
    VibratoManner vibrato;               // the person's, when the arm is to shape it
    std::uint8_t desks{1};               // players who share the notes, 1..desks_at_most
    bool desk_channels{false};           // each desk on a channel of its own, counted up from the target\'s; false: all on one
    std::uint8_t tremolo_per_quarter{0}; // small strokes a quarter note where the tempo is known; 0: as fast as the hand shakes
    double tempo{0};                     // quarter notes a minute when nothing else tells; 0: unknown
    std::uint8_t meter_beats{0};         // 0: unknown
    std::uint8_t meter_unit{2};          // the beat as a power of two
    std::array<char, 32> name{};
};

// The state of a player at one moment.
struct Snapshot {
    Time at;
    std::array<char, 32> name{};
    std::array<char, 24> instrument{};
    std::array<char, 48> target{};
    bool bypassed{false};
    bool sounding{false};
    bool on_string{false};
    bool alternating{false}; // asked for: strokes simply alternate
    bool muted{false};
    ContactZone zone{ContactZone::ordinary}; // wished
    bool technique_chosen{false};            // by the person; false: read from the playing
    std::optional<Family> read;              // of the newest stroke; empty: not read
    Technique technique{Technique::detache};
    Technique chosen{Technique::detache}; // where it was chosen; what is played may have given way to another
    Direction direction{Direction::down};
    std::uint8_t string{no_string};
    std::uint8_t string_key{0};      // of the open string
    std::uint8_t stopped{no_place};  // of the newest sounding note, semitones above the open string
    std::uint8_t position{no_place}; // of the hand, as the trade counts
    std::uint8_t pitch{0};           // of the newest sounding note
    std::uint8_t sounding_notes{0};
    HairFraction hair;
    MetresPerSecond speed;                // magnitude
    Newtons force, force_low, force_high; // now, and its limits now
    Beta beta;
    Loudness loudness; // wanted
    double amount{1};
    Seconds hair_left; // at the present speed, in the present direction
    BarPlace place;
    std::array<Reason, 3> reasons{}; // of the last stroke
    std::int32_t stroke_bar{0};      // where it began; 0: unknown
    bool last_retake{false};
    std::uint32_t strokes{0}, notes{0}, retakes{0}, forced_changes{0}, repairs{0}, unmended{0}, warnings{0};
    struct Warned {
        Time at;
        Warning warning{Warning::none};
        BarPlace place;
        Unplayable unplayable{Unplayable::no};
    };
    std::array<Warned, 3> last_warnings{}; // newest first
};
static_assert(sizeof(Snapshot) <= 512);

class Desks;
class WayOut;

class Player
{
public:
    explicit Player(const PlayerConfig& config); // allocates; the only thing that does
    ~Player();
    Player(Player&&) noexcept;
    Player& operator=(Player&&) noexcept;

    // Bows by a plan, in the order of its notes; strokes that are not in it are chosen as ever.  Before the first input.
    void bow_by(const std::vector<PlannedStroke>& plan);
    // Obeys wishes, in the order of their notes, as far as hair and time allow.  Before the first input.
    void obey(const std::vector<WishedStroke>& wishes);

    void on(const Input& input, Sink& sink) noexcept;
    // Time::never() when nothing is pending.
    Time next_wake() const noexcept;
    // Does what is due at next_wake(); takes no logical time.
    void wake(Sink& sink) noexcept;
    void read(Snapshot& snapshot) const noexcept;
    // Of one of those who share the notes, from 0; below PlayerConfig::desks.
    void read_desk(std::size_t desk, Snapshot& snapshot) const noexcept;

private:
    std::unique_ptr<Desks> desks_;
    std::unique_ptr<WayOut> way_out_; // null where what the desks send goes out as it is
};

// Brings the player to t: every wake due at or before it, in order.
inline void advance(Player& player, Time t, Sink& sink) noexcept
{
    for (Time due = player.next_wake(); due <= t && due != Time::never(); due = player.next_wake()) player.wake(sink);
}

} // namespace bowarm
