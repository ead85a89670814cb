// What waits at the beginning of a slow cable, and when it goes.
//   in       bundles and moving values, in the order and at the time at which the player has them
//   out      the same through the Sink, never more than the budget allows (target/wire_budget.hpp)
//   order    Bundles go whole, in their order, ahead of every value; a value goes when no bundle waits, after the bundles of its
//            own instant, and only while the budget keeps the room of the largest bundle free.  Of each controller the newest value
//            alone is kept.  Values of curves that wait when a note begins go into its bundle, before the note, so that it finds
//            the sampler as it would behind a fast cable.  The person's own pitch bend, pressures and controllers that select nothing
//            count as values, too.
//   silence  All notes off, all sound off: what waits is void but for the note-offs of keys that are down at the target.
//   thread   the player's.  Real-time safe: yes, no allocation after construction.
//   Errors   more waits than it holds: overflowed() until reset(); the caller makes the target silent.
#pragma once

#include "player/keys_down.hpp"
#include "player/player.hpp"
#include "target/selection.hpp"
#include "target/wire_budget.hpp"

#include <optional>
#include <vector>

namespace bowarm
{

class Wire
{
public:
    Wire(const TargetSpec& target, int players); // allocates

    void bundle(Time at, std::span<const Message> messages, Sink& sink) noexcept;
    void curve(Time at, Controller controller, int value) noexcept;
    // Time::never() when nothing waits.
    Time next() const noexcept;
    void wake(Time at, Sink& sink) noexcept;

    bool overflowed() const noexcept { return overflowed_; }
    // What waits is void; the keys that are down at the target are let go.
    void reset(Time at, Sink& sink) noexcept;

private:
    static constexpr std::size_t bundles_at_most = 256;
    static constexpr std::size_t values_at_most = 64;

    struct Value {
        std::optional<Controller> controller; // of a curve; empty: the person's own message
        int value{0};
        Message message;
        Time at; // of the newest
        bool same(const Value& other) const noexcept;
        int bytes() const noexcept;
    };

    bool is_value(std::span<const Message> messages) const noexcept;
    bool keep(const Value& value) noexcept;
    void complete(Bundle& bundle) noexcept;
    void wait(const Bundle& bundle) noexcept;
    void make_void() noexcept;
    Bundle still_needed(const Bundle& bundle) const noexcept;
    void send_bundles(Time at, Sink& sink) noexcept;
    void saw(Time at) noexcept { now_ = now_ < at ? at : now_; }

    WireBudget budget_;
    SwitchMessages switches_;
    std::vector<Bundle> waiting_; // a ring
    std::size_t first_{0}, count_{0};
    FixedVector<Value, values_at_most> values_; // the longest waiting first
    KeysDown keys_;
    Time now_;
    bool overflowed_{false};
};

} // namespace bowarm
