// When each message leaves for a sampler that speaks late: a note as much earlier as its sound needs, so that it is heard in time.
//   in       bundles and curve values in the order of the music, each at its moment; for a bundle that begins notes how long
//            after them the sampler speaks (target/speaking_delay.hpp)
//   out      the same, in the same order, at moment + ahead - speaking delay
//   notes    A note's end moves as far as the note did, so that its length stays, and a slur's end goes with the note that follows:
//            bundles are never split but for their switches, which leave the target's lead_s before the note, as far as the
//            note before allows.  Curves and everything else are heard at once and leave at moment + ahead.
//   order    What would fall behind a note that begins after it leaves just ahead of it: an end at least a millisecond, a curve as
//            the newest value of its controller.  A note that would overtake an earlier one follows it at the distance of the
//            music or, where that is more, 10 ms, and is heard that much late.
//   silence  All notes off, all sound off: waits for nothing, and what waits is void but for the ends of notes that have left.
//   thread   the player's.  Real-time safe: yes, no allocation after construction.
//   Errors   where more waits than it holds the oldest leaves early.
#pragma once

#include "player/keys_down.hpp"
#include "player/player.hpp"
#include "target/selection.hpp"

#include <array>
#include <optional>
#include <vector>

namespace bowarm
{

class Departures
{
public:
    Departures(Duration ahead, const TargetSpec& target); // ahead above 0; allocates

    // speaks: of the notes that begin in it; empty where none does.
    void bundle(Time at, std::span<const Message> messages, std::optional<Seconds> speaks, Sink& sink) noexcept;
    void curve(Time at, Controller controller, int value, Sink& sink) noexcept;
    // Time::never() when nothing waits.
    Time next() const noexcept { return count_ == 0 ? Time::never() : items_[first_].leaves; }
    void wake(Time at, Sink& sink) noexcept;

private:
    static constexpr std::size_t curves_at_most = 24;  // twelve, on two channels
    static constexpr std::size_t items_at_most = 1024; // a second of six curves at a hundred values, and notes

    struct Item {
        Time at; // in the music
        Time leaves;
        bool begins{false};                   // notes
        std::optional<Controller> controller; // of a curve value; empty: a bundle
        int value{0};
        bool stale{false}; // a newer value of the controller leaves with it
        Bundle bundle;
    };
    // Of a key's newest note.
    struct Moved {
        Time at;
        Time leaves;
    };

    void send_ahead(Item& note, Sink& sink) noexcept;
    void insert(const Item& item, Sink& sink) noexcept;
    void add(const Item& item, Sink& sink) noexcept;
    Time floor() const noexcept;
    void pull_before(const Item& newest) noexcept;
    Time end_leaves(Time at, std::span<const Message> messages) const noexcept;
    void silence(Time at, std::span<const Message> messages, Sink& sink) noexcept;
    void leave_first(Time at, Sink& sink) noexcept;
    Moved& moved(const Message& m) noexcept { return moved_[KeysDown::place(m)]; }
    const Moved& moved(const Message& m) const noexcept { return moved_[KeysDown::place(m)]; }

    Duration ahead_;
    Duration lead_; // of a switch before its note
    SwitchMessages switches_;
    std::vector<Item> items_; // a ring, in the order of the music and of leaving
    std::size_t first_{0}, count_{0};
    std::vector<Moved> moved_; // of every key
    KeysDown keys_;
    std::optional<Moved> note_before_;
    Time now_; // nothing leaves before it any more
};

} // namespace bowarm
