#include "phrase/bar_count.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

constexpr double parts_of_a_beat = 12;
constexpr double sure_of_habit = 0.9, first_habit = 0.7;
// Without a habit the strokes are expected to be as long as those before: the fewer, the surer.
constexpr double sure_of_one = 0.8, sure_of_two = 0.6, sure_of_few = 0.55;
constexpr std::int64_t few = 4;
constexpr double same_length = 0.17; // beats
constexpr double whole = 0.2;        // a count this near to a whole number is one

// A bar that was only guessed from the playing moves too easily to count by.
bool tells(const BeatPlace& place) { return place.confidence > 0 && place.source != BeatSource::playing; }

} // namespace

std::size_t BarCount::slot_of(const BeatPlace& place) noexcept
{
    const std::int64_t slot = nearest((place.nearest - 1) * parts_of_a_beat);
    return slot < 0 ? 0 : static_cast<std::size_t>(slot) % slots;
}

void BarCount::close_bar() noexcept
{
    for (std::size_t i = 0; i < strokes_; ++i) {
        Habit& habit = habits_[begun_[i]];
        const auto count = static_cast<std::uint8_t>(strokes_ - i);
        habit.agreed = habit.count == count ? static_cast<std::uint8_t>(habit.agreed < 8 ? habit.agreed + 1 : 8) : std::uint8_t{1};
        habit.count = count;
    }
    strokes_ = 0;
}

// The length of the stroke before, now that the next begins; a rest counts to it, as hands do not show where it was meant to end.
void BarCount::measure_last(const BeatPlace& now) noexcept
{
    if (!tells(last_)) return;
    double beats = now.nearest - last_.nearest;
    if (now.bar == last_.bar + 1) beats = last_.to_bar / last_.beat_length + now.nearest - 1;
    if (beats <= 0 || now.bar > last_.bar + 1) return;
    Habit& habit = habits_[slot_of(last_)];
    const double change = beats - habit.length;
    const bool agrees = change < same_length && change > -same_length;
    habit.lengths_agreed = agrees ? static_cast<std::uint8_t>(habit.lengths_agreed < 8 ? habit.lengths_agreed + 1 : 8) : std::uint8_t{0};
    habit.length = beats;
}

std::optional<Seconds> BarCount::usual_length(const BeatPlace& place) const noexcept
{
    if (!tells(place)) return std::nullopt;
    const Habit& habit = habits_[slot_of(place)];
    if (habit.lengths_agreed == 0) return std::nullopt;
    return place.beat_length * habit.length;
}

std::optional<Direction> BarCount::last_time(const BeatPlace& place) const noexcept
{
    if (!tells(place)) return std::nullopt;
    return habits_[slot_of(place)].began;
}

void BarCount::stroke_began(const BeatPlace& place, Direction direction, bool begins_group) noexcept
{
    if (!tells(place)) return;
    measure_last(place);
    last_ = place;
    if (begins_group) habits_[slot_of(place)].began = direction;
    if (place.bar != bar_) {
        if (place.bar == bar_ + 1) close_bar();
        strokes_ = 0;
        bar_ = place.bar;
    }
    if (strokes_ < strokes_at_most) begun_[strokes_++] = static_cast<std::uint8_t>(slot_of(place));
}

StrokesAhead BarCount::ahead(const BeatPlace& place, Seconds expected) const noexcept
{
    if (!tells(place) || !(place.to_bar > Seconds{0}) || !(expected > Seconds{0})) return {};
    const Habit& habit = habits_[slot_of(place)];
    if (habit.count > 0) return {habit.count, habit.agreed > 1 ? sure_of_habit : first_habit};
    const double fits = place.to_bar / expected;
    const std::int64_t count = nearest(fits);
    if (count <= 1) return {1, sure_of_one};
    const double off = fits - static_cast<double>(count);
    if (count > few || off > whole || off < -whole) return {};
    return {static_cast<std::int32_t>(count), count == 2 ? sure_of_two : sure_of_few};
}

} // namespace bowarm
