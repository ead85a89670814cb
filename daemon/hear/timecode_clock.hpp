// MIDI time code as a clock: with a tempo map it says where in the music we are.
//   in       quarter frames; eight of one stamp are a full frame, which locates and stands
//   out      song position and continue where the time code begins or jumps, 24 clocks a quarter note while it runs, stop when it has
//            been silent for 0.15 s: what a sequencer would send, so that locate, cycle and stop are met as with its clock
//   source   MIDI Time Code, MMA RP-004: eight pieces, two frames long, low half first; the hours' high half holds the rate;
//            the time is that of the first piece, so at the eighth it is 7/4 frames older.  30 drop frame skips two numbers a
//            minute but each tenth and runs at 30000/1001 (SMPTE 12M).
//   thread   the engine's.  Real-time safe: all but the constructor.
//   Errors   none: pieces out of order begin anew; without a map it stays silent.
#pragma once

#include "base/time.hpp"
#include "midi/message.hpp"

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

namespace bowarm
{

// From this moment of the time code on.
struct TempoStep {
    double at_s{0};
    double quarter{0}; // quarter notes from the start of the music
    double quarters_a_second{2};
};

class TimecodeClock
{
public:
    class Out
    {
    public:
        virtual void send(Time at, const Message& message) noexcept = 0;

    protected:
        ~Out() = default;
    };

    // Steps in order; the first at 0.
    explicit TimecodeClock(std::vector<TempoStep> map) : map_(std::move(map)) {}

    void hear(Time at, const Message& quarter_frame, Out& out) noexcept;
    Time next_wake() const noexcept;
    void wake(Out& out) noexcept;

    // Seconds that eight pieces say; empty where no such time is.
    static std::optional<double> seconds_of(const std::array<std::uint8_t, 8>& halves) noexcept;

private:
    void whole_time(Time at, Out& out) noexcept;
    void begin_at(Time at, double seconds, bool runs, Out& out) noexcept;
    void stop(Time at, Out& out) noexcept;
    double quarter_at(double seconds) const noexcept;
    double seconds_at(double quarter) const noexcept;

    std::vector<TempoStep> map_;
    std::array<std::uint8_t, 8> halves_{};
    std::size_t pieces_{0}; // in order, so far
    Time first_piece_{};
    bool running_{false};
    Time base_at_{}; // at this moment the time code was at base_s_
    double base_s_{0};
    Time last_heard_{};
    std::int64_t next_clock_{0}; // 24 a quarter note, from the start of the music
};

} // namespace bowarm
