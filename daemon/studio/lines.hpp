// Every way into the engine and out of it: rings and counters; memory is taken at the start, and with an output.
//   thread   said at each part; no lock anywhere.  Real-time safe: yes.
//   Errors   a full ring is counted where it happens and made good by its reader.
#pragma once

#include "base/latest.hpp"
#include "base/ring.hpp"
#include "hear/hands.hpp"
#include "hear/input.hpp"
#include "midi/full_frame.hpp"
#include "midi/port.hpp"
#include "midi/ports/wakeup.hpp"
#include "midi/stream_parser.hpp"
#include "player/player.hpp"
#include "studio/clock.hpp"
#include "studio/doorbell.hpp"
#include "take/journal.hpp"
#include "take/output_hash.hpp"
#include "take/take.hpp"

#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <variant>

namespace bowarm
{

// One stream of inputs towards the engine.
//   thread   push: one producer; pop and take_lost: the engine.
class InputQueue
{
public:
    bool push(const Input& input) noexcept
    {
        if (ring_.push(input)) return true;
        lost_.fetch_add(1, std::memory_order_acq_rel);
        return false;
    }
    bool pop(Input& input) noexcept { return ring_.pop(input); }
    bool has_room() const noexcept { return ring_.size() < ring_.capacity(); }
    // How many were lost since the last call.
    std::uint64_t take_lost() noexcept { return lost_.exchange(0, std::memory_order_acq_rel); }

private:
    Ring<Input, 2048> ring_;
    std::atomic<std::uint64_t> lost_{0};
};

// What one connected port hears, parsed and stamped on the port's own callback thread.
//   thread   received: the callback; assign: while no port feeds it.
class Feed final : public Receiver
{
public:
    void attach(const LiveClock& clock, Wakeup& engine) noexcept
    {
        clock_ = &clock;
        engine_ = &engine;
    }
    void assign(Source source) noexcept
    {
        source_.store(source.number, std::memory_order_release);
        parser_.reset();
        full_frame_ = {};
    }
    Source source() const noexcept { return {source_.load(std::memory_order_acquire)}; }
    std::uint64_t messages() const noexcept { return messages_.load(std::memory_order_relaxed); }

    void received(std::span<const std::uint8_t> bytes) noexcept override
    {
        const Time at = clock_->now();
        for (const std::uint8_t byte : bytes) {
            if (const auto message = parser_.take(byte)) pass(at, *message);
            if (const auto pieces = full_frame_.take(byte))
                for (const Message& piece : *pieces) pass(at, piece);
        }
        engine_->ring();
    }

    InputQueue queue;

private:
    const LiveClock* clock_{nullptr};
    Wakeup* engine_{nullptr};
    void pass(Time at, const Message& message) noexcept
    {
        messages_.fetch_add(1, std::memory_order_relaxed);
        queue.push(midi_input(at, source(), message));
    }

    StreamParser parser_;
    FullFrame full_frame_;
    std::atomic<std::uint8_t> source_{0};
    std::atomic<std::uint64_t> messages_{0};
};

// A bundle, which stays together, or one value of a moving controller.
struct OutItem {
    Time at;
    std::uint8_t count{0}; // messages of the bundle; 0: a curve value
    std::array<Message, bundle_limit> messages{};
    Controller controller;
    int value{0};
};

// From the engine to one sender.  Most queues are never used, so a queue has room only when it was made once.
//   thread   push: the engine; ask_for_state, start_over: any; make_room, before in_use is set, and pop: the one sender that has the queue;
//   the flags: both. Real-time safe: all but make_room.
class OutQueue
{
public:
    using Room = Ring<OutItem, 1024>;
    void attach(Wakeup& engine) noexcept { engine_ = &engine; }
    // Answers what it took; empty: there was room already.
    std::span<const std::byte> make_room()
    {
        if (ring_) return {};
        ring_ = std::make_unique<Room>();
        return std::as_bytes(std::span{ring_.get(), 1});
    }
    void push(const OutItem& item) noexcept
    {
        if (!in_use.load(std::memory_order_acquire)) return;
        if (!ring_->push(item)) {
            dropped.fetch_add(1, std::memory_order_relaxed);
            overflowed.store(true, std::memory_order_release);
        }
    }
    bool pop(OutItem& item) noexcept { return ring_ && ring_->pop(item); }
    bool waiting() const noexcept { return ring_ && ring_->size() != 0; }
    // At once: asked for with the next note, the state would cut that note off.
    void ask_for_state() noexcept
    {
        wants_state.store(true, std::memory_order_release);
        engine_->ring();
    }
    // The target's state is unknown: what waits is thrown away, the target silenced and told all.
    void start_over() noexcept
    {
        overflowed.store(true, std::memory_order_release);
        wake.ring();
    }

    std::atomic<std::uint8_t> output{0};            // of the configuration; changed while nobody uses the queue
    std::atomic<bool> in_use{false};                // a sender takes from it
    std::atomic<bool> overflowed{false};            // something was lost: the target's state is unknown
    std::atomic<bool> wants_state{false};           // the engine is to send all of the state again
    std::atomic<std::uint64_t> sent{0}, dropped{0}; // messages; items
    Wakeup wake;

private:
    Wakeup* engine_{nullptr};
    std::unique_ptr<Room> ring_; // never taken away again
};

// Something that players heard or did.
using TakeEvent = std::variant<Input, OutItem, Fact, Decision>;
struct TakeItem {
    TakeEvent what;
    PlayerSet players{1};
};

// From the engine to the take writer: one ring for all players, since what they do together is what fills it.
class TakeQueue
{
public:
    void push(const TakeEvent& what, PlayerSet players = only(0)) noexcept
    {
        if (!ring_.push({what, players})) lost.fetch_add(1, std::memory_order_relaxed);
        if (ring_.size() == ring_.capacity() / 2) bell.ring();
        bell.knock();
    }
    bool pop(TakeItem& item) noexcept { return ring_.pop(item); }
    bool waiting() const noexcept { return ring_.size() != 0; }

    std::atomic<std::uint64_t> lost{0};
    Doorbell bell;

private:
    Ring<TakeItem, 8192> ring_;
};

using JournalItem = std::variant<JournalInput, JournalCheck>;

// From the engine to the journal's thread; 30 s of two thousand inputs a second, which is more than two MIDI cables carry.  An input
// that several players hear alike is one item.
class JournalQueue
{
public:
    void push(const Input& input, PlayerSet players = only(0)) noexcept { push(JournalItem{JournalInput{input, players}}); }
    void push(const OutputCheck& check, std::uint8_t player = 0) noexcept { push(JournalItem{JournalCheck{check, player}}); }
    void push(const JournalItem& item) noexcept
    {
        if (!ring_.push(item)) lost.fetch_add(1, std::memory_order_relaxed);
        bell.knock();
    }
    bool pop(JournalItem& item) noexcept { return ring_.pop(item); }
    bool waiting() const noexcept { return ring_.size() != 0; }

    std::atomic<std::uint64_t> lost{0};
    Doorbell bell;

private:
    Ring<JournalItem, 65536> ring_;
};

struct PlayersFact {
    std::size_t player{0};
    Fact fact;
};

// What players did, for clients that follow it; kept only while somebody does.
//   thread   push: the engine; pop, want, take_lost: the service.
class FactQueue
{
public:
    void push(const PlayersFact& fact) noexcept
    {
        if (!wanted_.load(std::memory_order_relaxed)) return;
        if (!ring_.push(fact)) lost_.fetch_add(1, std::memory_order_relaxed);
    }
    bool pop(PlayersFact& fact) noexcept { return ring_.pop(fact); }
    void want(bool wanted) noexcept { wanted_.store(wanted, std::memory_order_relaxed); }
    std::uint64_t take_lost() noexcept { return lost_.exchange(0, std::memory_order_relaxed); }

private:
    Ring<PlayersFact, 1024> ring_;
    std::atomic<bool> wanted_{false};
    std::atomic<std::uint64_t> lost_{0};
};

// What came in through ports, for a setup that listens; kept only while one does.
//   thread   push: the engine; want: the service; pop, waiting, bell: the setup's thread.
class HeardQueue
{
public:
    void push(const Message& message) noexcept
    {
        if (!wanted_.load(std::memory_order_relaxed)) return;
        ring_.push(message); // what finds no room was one move of many
        bell.knock();
    }
    bool pop(Message& message) noexcept { return ring_.pop(message); }
    bool waiting() const noexcept { return ring_.size() != 0; }
    void want(bool wanted) noexcept { wanted_.store(wanted, std::memory_order_relaxed); }

    Doorbell bell;

private:
    Ring<Message, 1024> ring_;
    std::atomic<bool> wanted_{false};
};

// What the engine counts for others to read.
struct EngineCounts {
    std::atomic<std::uint64_t> inputs{0}, lost_inputs{0};
    std::atomic<std::int64_t> latest_wake_ns{0}; // the worst so far
    std::atomic<bool> script_over{false};        // played to its end, and the player is at rest
    std::atomic<int> real_time_priority{-1};     // -1: not asked yet; 0: not granted
    std::atomic<int> under_hands{0};             // which player
    std::atomic<std::uint32_t> cut_inputs{0};    // a bit an input: it brought our own output back
};

inline constexpr std::size_t feeds_at_most = 16;
inline constexpr std::size_t outs_at_most = 16;

class Ensemble;

struct Lines {
    Lines()
    {
        for (Feed& feed : feeds) feed.attach(clock, engine_wake);
        for (OutQueue& out : outs) out.attach(engine_wake);
    }

    LiveClock clock;
    Wakeup engine_wake;
    Wakeup service_wake; // the engine has news for the service
    std::array<Feed, feeds_at_most> feeds;
    InputQueue from_service; // commands
    InputQueue from_ports;   // ports that came and went
    // A take that is heard again (hear_again.hpp): each for one player, data[3], of one hearing, data[4].
    InputQueue from_take;
    std::atomic<std::uint8_t> hearing{0};             // the number of the hearing that goes on; 0: none.  Who stops it clears it
    std::atomic<std::int64_t> hearing_stopped_by{-1}; // the stamp of the input by hand that did so last, ns
    std::array<OutQueue, outs_at_most> outs;
    TakeQueue take;
    JournalQueue journal;
    FactQueue facts;
    HeardQueue heard;
    std::atomic<bool> wants_state{false};                    // a new take begins: the engine is to send all of the state again
    std::atomic<std::uint32_t> looped_inputs{0};             // a bit an input: one of our outputs is connected to it
    std::array<Latest<Snapshot>, players_at_most> snapshots; // by player
    EngineCounts counts;

    // New players on their way to the engine, and the old ones on their way back; whoever takes them out owns them.
    std::atomic<Ensemble*> offered{nullptr}; // from the service
    std::atomic<Ensemble*> retired{nullptr}; // from the engine, which rings service_wake
};

} // namespace bowarm
