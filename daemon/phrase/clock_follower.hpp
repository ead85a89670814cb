// Tempo and place from the MIDI clocks of any number of sources, of which one at a time is followed: the first that started, until
// it stops or falls silent.
//   in       timing clock, start, continue, stop and song position pointer, with their logical times
//   out      quarter notes since the start of the song, and how long a quarter is
//   source   MIDI 1.0 Detailed Specification, system real time and song position pointer: 24 clocks a quarter note; the clock after
//            start is the song's first moment; a song position counts 6 clocks; continue goes on from there.
//   thread   the player's.  Real-time safe: yes.  Errors: none; a clock more than the follower can hold is not heard.
#pragma once

#include "base/fixed_vector.hpp"
#include "base/quantity.hpp"
#include "base/time.hpp"
#include "hear/input.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

namespace bowarm
{

// One source's clock.
class ClockTrack
{
public:
    ClockTrack() = default;
    explicit ClockTrack(Source source) : source_(source) {}

    void clock(Time at) noexcept;
    void start(Time at) noexcept;
    void go_on(Time at) noexcept; // the message continue
    void stop() noexcept;
    void song_position(int sixteenths) noexcept;
    // Here is a beat: for a clock that never said where it started.
    void begin_here(Time at) noexcept;

    Source source() const { return source_; }
    bool running() const { return state_ == State::running; }
    bool stopped() const { return state_ == State::stopped; }
    // Whether it is running and it is known where.
    bool placed() const { return running() && placed_; }
    // 1 while the clocks come, falling to 0 over the next two beats when they fail to.
    double steadiness(Time at) const noexcept;
    // Zero until it is known.
    Seconds quarter() const { return clock_ * 24; }
    // From the start of the song.
    double quarters(Time at) const noexcept;

private:
    enum class State : std::uint8_t { free, running, stopped };
    static constexpr std::size_t window = 25; // stamps: one quarter note

    void remember(Time at) noexcept;
    void measure() noexcept;
    void forget_all_but(std::size_t newest) noexcept;
    std::int64_t clocks_missed(Time at) noexcept;
    double mean_interval(std::size_t newest) const noexcept;

    Source source_;
    State state_{State::free};
    bool placed_{false};
    bool awaiting_{false};              // the next clock is at pending_
    bool missed_last_{false};           // the newest interval was taken for more than one
    std::int64_t pending_{0};           // clocks
    std::int64_t position_{0};          // of the newest clock
    std::array<Time, window> stamps_{}; // oldest first
    std::size_t count_{0};
    Time heard_;       // the newest sign of life
    Seconds clock_{0}; // between two clocks, smoothed
    Time smoothed_;    // where the newest clock should have been
};

class ClockFollower
{
public:
    void clock(Time at, Source source) noexcept;
    void start(Time at, Source source) noexcept;
    void go_on(Time at, Source source) noexcept;
    void stop(Source source) noexcept;
    void song_position(Source source, int sixteenths) noexcept;
    void begin_here(Time at) noexcept;

    // The one that is followed; empty while none is heard.
    const ClockTrack* followed(Time at) const noexcept;

private:
    ClockTrack* track(Source source) noexcept;
    void lead(Time at) noexcept;

    FixedVector<ClockTrack, 4> tracks_;
    std::optional<Source> leader_;
};

} // namespace bowarm
