// All players of one configuration, with who hears what and who plays where.  Built whole, exchanged whole.
//   in       inputs of all ports, in order; the lines to the senders, the take and the status
//   out      each player's bundles and curves to the senders of its output, and to the take; its inputs to take and journal; what
//            every player did; a snapshot of every player that changed
//   thread   constructor and destructor: any, outside playing; the rest: the engine.
//   Real-time safe: all but constructor and destructor.
//   Errors   none.
#pragma once

#include "hear/bowed_before.hpp"
#include "hear/hands.hpp"
#include "hear/loop_watch.hpp"
#include "studio/configuration.hpp"
#include "studio/lines.hpp"
#include "studio/song_memory.hpp"
#include "studio/take_keys.hpp"
#include "take/output_hash.hpp"

#include <algorithm>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace bowarm
{

class Ensemble
{
public:
    Ensemble(const Settings& settings, Lines& lines);

    std::size_t size() const noexcept { return seats_.size(); }
    // Every wake due at or before its stamp has been done.
    void on(const Input& input) noexcept;
    // The same of what came through a port, where it may be our own output.
    void on_port(const Input& input) noexcept;
    Time next_wake() const noexcept { return std::min(next_, timecode_.next_wake()); }
    // Does what is due at next_wake().
    void wake() noexcept;
    // The state goes out again, marks included.
    void tell_output(Time now, std::size_t output) noexcept;
    // To every player as soon as it sounds nothing, for a note would end there.
    void tell_take(Time now) noexcept;
    void tell_take_between_notes(Time now) noexcept;
    // Of a take that is heard again: for one player, past hands and loops.
    void on_again(Input input) noexcept;

    // Nobody plays, nobody is about to.
    bool between_strokes(Time now) const noexcept;
    // Silences all, passed-on notes included.
    void panic(Time now) noexcept;
    // Pedals, choice and cuts of those before.
    void take_up(const Ensemble& before, Time now) noexcept;

    // Writes what changed for others to read, at most a hundred times a second; answers when it wants to again.
    Time publish(Time now) noexcept;
    // Ends cuts that have been quiet for long enough; answers when to look again.
    Time look_at_cuts(Time now) noexcept;
    void ring_senders() noexcept;
    // What each player sent so far, now and then.
    void tell_journal(Time now) noexcept;
    // From here on these players are the ones that take and journal are of.
    void begin_record(Time now) noexcept;

private:
    class ToLines final : public Sink
    {
    public:
        ToLines(Ensemble& house, std::size_t player, std::size_t output) : house_(house), player_(player), output_(output) {}
        void bundle(Time at, std::span<const Message> messages) noexcept override;
        void curve(Time at, Controller controller, int value) noexcept override;
        void fact(const Fact& fact) noexcept override;
        void decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept override;

    private:
        Ensemble& house_;
        std::size_t player_, output_;
    };
    // Clocks that time code stands for come from the input that brought it.
    class ToHands final : public TimecodeClock::Out
    {
    public:
        ToHands(Ensemble& house, Source source) : house_(house), source_(source) {}
        void send(Time at, const Message& message) noexcept override { house_.on(midi_input(at, source_, message)); }

    private:
        Ensemble& house_;
        Source source_;
    };
    struct Seat {
        Player player;
        ToLines sink;
        std::size_t output;
        Channel channel;
        Time next;
        bool changed{true};
        OutputHash sent{};
        std::uint64_t told_to_journal{0};
        LastStrokes strokes{};
    };

    void give(std::size_t player, const Input& input) noexcept;
    void apply(std::size_t player, const Input& input) noexcept;
    void give_as_it_is(std::size_t player, const Input& input) noexcept;
    void keep(const Input& input, PlayerSet players) noexcept;
    PlayerSet everybody() const noexcept;
    bool sounds(std::size_t player) const noexcept;
    void begin_hearing(std::uint8_t number) noexcept;
    void end_hearing(Time at) noexcept;
    void stop_hearing_by(const Input& input) noexcept;
    void follow_song(const Input& input) noexcept;
    void remember_place() noexcept;
    void return_to_place(Time at) noexcept;
    void give_all(PlayerSet players, const Input& input) noexcept;
    void pass_on(PlayerSet players, Time at, const Message& message) noexcept;
    void release(std::size_t source, Time at) noexcept;
    bool is_cut(const Input& input) noexcept;
    void tell_cuts() noexcept;
    void send(std::size_t output, const OutItem& item) noexcept;
    void push(std::size_t output, const OutItem& item) noexcept;
    void show_lamps(Time now, const Snapshot& snapshot) noexcept;
    void mark(const Seat& seat, Time now) noexcept;
    void settle(Seat& seat) noexcept;
    void find_next() noexcept;

    Lines& lines_;
    Time tell_journal_again_{};
    PlayerSet to_tell_{0}; // for whom the take is to begin with all of the state
    SongMemory song_;
    TakeKeys heard_;          // of the take that is heard again
    std::uint8_t hearing_{0}; // its number; 0: none
    PlayerSet bypassed_before_{0};
    Hands hands_;
    Lamps lamps_;
    std::optional<std::size_t> lamps_output_;
    BowedBefore bowed_;
    TimecodeClock timecode_;
    Source timecode_source_{};
    LoopWatch loops_;
    std::vector<std::unique_ptr<Seat>> seats_;
    std::vector<bool> marked_outputs_;
    Duration rest_; // how long after the last key a player may still have something to play
    Time last_input_{};
    Time next_{Time::never()};
    Time published_{};
    bool sent_{false};
};

// One player that hears everything and plays to the first output.
std::unique_ptr<Ensemble> ensemble_of(const PlayerConfig& player, Lines& lines);
std::unique_ptr<Ensemble> ensemble_of(const Settings& settings, Lines& lines);

} // namespace bowarm
