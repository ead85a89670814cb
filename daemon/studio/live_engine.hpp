// The engine's turns: what arrived is put in order and given to the player, and the player is brought to now.
//   in       inputs of all queues, merged by their stamps; a script of inputs known beforehand (a file that is played)
//   out      bundles and curves to every sender in use, everything to the take, a snapshot when something changed
//   thread   one: the engine thread, which owns the player.
//   Real-time safe: turn never allocates, locks, logs, blocks, or reads a clock.
//   Errors   none: losses become gaps, which the player answers by releasing keys.
//   Late turns change when messages leave, never which: a stamp that is already past the player's own time is moved up to it,
//   and the moved stamp is the one that goes into the take.
#pragma once

#include "studio/lines.hpp"

#include <optional>
#include <span>

namespace bowarm
{

class LiveEngine
{
public:
    // The script outlives the engine; its stamps never fall.
    LiveEngine(Player player, std::span<const Input> script, Lines& lines);

    // Does everything due at `now`; answers when to come again.
    Time turn(Time now) noexcept;

private:
    class ToLines final : public Sink
    {
    public:
        explicit ToLines(Lines& lines) : lines_(lines) {}
        void bundle(Time at, std::span<const Message> messages) noexcept override;
        void curve(Time at, Controller controller, int value) noexcept override;
        void fact(const Fact& fact) noexcept override;
        void decided(Time at, std::uint32_t note, const ChoiceNeeds& needs, Direction direction, bool retake) noexcept override;
        void ring_senders() noexcept;
        void tell_journal(Time now) noexcept; // what was sent so far, now and then

    private:
        void send(const OutItem& item) noexcept;
        Lines& lines_;
        bool sent_{false};
        OutputHash hash_;
        std::uint64_t told_{0};
        Time tell_again_{};
    };
    struct Stream {
        InputQueue* queue{nullptr};
        const Feed* feed{nullptr};
        std::optional<Input> head;
    };

    const Input* earliest() noexcept;
    void take_away(const Input* head) noexcept;
    void apply(Input input) noexcept;
    void advance_to(Time t) noexcept;
    void report_gaps(Time now) noexcept;
    void answer_senders(Time now) noexcept;
    void watch_the_end(Time now) noexcept;

    Player player_;
    Lines& lines_;
    ToLines sink_;
    std::array<Stream, feeds_at_most + 2> streams_{};
    std::span<const Input> script_; // what is left of it
    bool scripted_;
    Time script_end_;
    Time last_{}; // of the last input applied or wake done
    bool changed_{true};
};

} // namespace bowarm
