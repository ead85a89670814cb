// The engine's turns: what arrived is put in order and given to the players, and the players are brought to now.
//   in       inputs of all queues, merged by their stamps; a script of inputs known beforehand (a file that is played)
//   out      what the ensemble sends, keeps and tells
//   New players are offered through the lines; they take over as soon as nobody plays, or after two seconds with silence, and the
//   old ones go back the same way, so that nothing is freed here.
//   thread   one: the engine thread, which owns the ensemble.
//   Real-time safe: turn never allocates, locks, logs, blocks, or reads a clock.
//   Errors   none: losses become gaps, which the player answers by releasing keys.
//   Late turns change when messages leave, never which: a stamp that is already past the player's own time is moved up to it,
//   and the moved stamp is the one that goes into the take.
#pragma once

#include "studio/ensemble.hpp"
#include "studio/lines.hpp"

#include <memory>
#include <optional>
#include <span>

namespace bowarm
{

class LiveEngine
{
public:
    // The script outlives the engine; its stamps never fall.
    LiveEngine(std::unique_ptr<Ensemble> ensemble, std::span<const Input> script, Lines& lines);

    // Does everything due at `now`; answers when to come again.
    Time turn(Time now) noexcept;

private:
    struct Stream {
        InputQueue* queue{nullptr};
        const Feed* feed{nullptr};
        std::optional<Input> head;
    };

    const Input* earliest() noexcept;
    bool is_of_no_hearing(const Input& input) const noexcept;
    void take_away(const Input* head) noexcept;
    void apply(Input input, bool from_port) noexcept;
    void advance_to(Time t) noexcept;
    void bring_to(Time now) noexcept;
    void report_gaps(Time now) noexcept;
    void answer_senders(Time now) noexcept;
    void watch_the_end(Time now) noexcept;
    Time exchange_players(Time now) noexcept;

    std::unique_ptr<Ensemble> ensemble_;
    Lines& lines_;
    std::array<Stream, feeds_at_most + 3> streams_{};
    std::span<const Input> script_; // what is left of it
    bool scripted_;
    Time script_end_;
    Time last_{};                    // of the last input applied or wake done
    std::optional<Time> offered_at_; // since when new players have been waiting
};

} // namespace bowarm
