// How many strokes lead to the next strong beat: players count them, so that the bar begins with a down-bow.
//   in       the place in the bar of each stroke that began
//   out      for a stroke that begins now, how many there will be before the next bar, itself counted, and how sure that is;
//            and how long it is likely to be, when the rhythm of bars before comes back
//   source   odd number before the barline: begin up, even: begin down (string-class textbook, guidelines for bowing)
//   A bar that was only guessed from the playing tells nothing here.
//   thread   the player's.  Real-time safe: yes.  Errors: none; unknown is confidence 0.
#pragma once

#include "base/technique.hpp"
#include "phrase/beat_place.hpp"

#include <array>
#include <cstdint>
#include <optional>

namespace bowarm
{

struct StrokesAhead {
    std::int32_t count{0};
    double confidence{0};
};

class BarCount
{
public:
    // Remembers by the place in the bar, for the next time a group begins there.
    void stroke_began(const BeatPlace& place, Direction direction, bool begins_group) noexcept;
    // How the last group that began at this place of the bar was bowed.
    std::optional<Direction> last_time(const BeatPlace& place) const noexcept;
    // How long strokes that began there were, when the last ones agree.
    std::optional<Seconds> usual_length(const BeatPlace& place) const noexcept;
    StrokesAhead ahead(const BeatPlace& place, Seconds expected) const noexcept;

private:
    static constexpr std::size_t slots = 96; // twelve a beat, eight beats
    static constexpr std::size_t strokes_at_most = 32;
    static std::size_t slot_of(const BeatPlace& place) noexcept;
    void close_bar() noexcept;
    void measure_last(const BeatPlace& now) noexcept;

    struct Habit {
        std::uint8_t count{0};
        std::uint8_t agreed{0}; // times in a row
        std::optional<Direction> began;
        double length{0}; // in beats
        std::uint8_t lengths_agreed{0};
    };
    std::array<Habit, slots> habits_{};
    std::array<std::uint8_t, strokes_at_most> begun_{}; // slots of the strokes of this bar
    std::size_t strokes_{0};
    std::int32_t bar_{0};
    BeatPlace last_; // of the stroke before
};

} // namespace bowarm
