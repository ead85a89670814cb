// Our own output that comes back as input: a feedback loop.
//   in       everything that was sent, everything that was heard from ports
//   out      which inputs are cut: what they bring is to be ignored until nothing of ours has come back for three seconds
//   What counts: a note-on that we sent less than 50 ms before, or a controller value that we sent less than 200 ms before and that
//   this input had not brought itself; not what another input brought in that time, for a sequencer that monitors a keyboard
//   brings each of its keys once more; and no controller whose other values this input has brought in the last half second, for it is
//   a pedal that our curve follows.  Eight such messages in half a second are a loop; what we did not send takes one off.
//   source   the numbers are ours, of loops over JACK at periods of 64 to 1024 (two periods and a wake); no hand strikes a
//            key with the same velocity eight times at 20 a second.
//   thread   the engine's.  Real-time safe: all but the constructor.
//   Errors   none: two messages that share a place in the table hide the older one.
#pragma once

#include "base/time.hpp"
#include "hear/hands.hpp"

#include <array>
#include <cstdint>
#include <vector>

namespace bowarm
{

class LoopWatch
{
public:
    LoopWatch() : sent_(sent_places), heard_(heard_places) {}
    void sent(Time at, const Message& message) noexcept;
    // True: the input has just been cut.
    bool heard(Time at, std::size_t source, const Message& message) noexcept;
    bool is_cut(std::size_t source) const noexcept { return (cut_ >> source & 1U) != 0; }
    std::uint32_t cut() const noexcept { return cut_; }
    // Ends cuts that have lasted quietly; answers whether any ended.
    bool look_again(Time now) noexcept;
    // When a cut may end if nothing comes back until then.
    Time next_look() const noexcept;
    // The cuts of a watch before this one.
    void take_up(const LoopWatch& before) noexcept
    {
        evidence_ = before.evidence_;
        cut_ = before.cut_;
    }

private:
    static constexpr std::size_t sent_places = 4096, heard_places = 1024;
    struct Sent {
        std::uint32_t bytes{0};
        Time at;
    };
    struct Heard {
        std::uint32_t bytes{0};
        std::array<Time, inputs_at_most> at{}; // by source; 0: not heard, or accounted for
    };
    struct Evidence {
        int count{0};
        Time first, last;
    };

    enum class From : std::uint8_t { us, somebody, unclear };
    From from(Time at, std::size_t source, const Message& message) noexcept;
    Heard& heard_place(std::uint32_t bytes) noexcept;

    std::vector<Sent> sent_;
    std::vector<Heard> heard_;
    std::array<Evidence, inputs_at_most> evidence_{};
    std::array<std::array<Time, 128>, inputs_at_most> moved_{}; // when a person last moved that controller
    std::uint32_t cut_{0};
};

} // namespace bowarm
