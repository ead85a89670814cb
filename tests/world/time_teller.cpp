#include "world/time_teller.hpp"

namespace bowarm::world
{
namespace
{

constexpr std::uint8_t quarter_frame_status = 0xF1, song_position = 0xF2, clock_status = 0xF8, start = 0xFA, continue_ = 0xFB, stop = 0xFC;
constexpr std::uint32_t frames_a_second = 25;

} // namespace

void TimeTeller::begin(test::Dice& dice)
{
    by_clock_ = !dice.one_in(3);
    clock_every_ = 60 * second / (24 * (50 + dice.below(120)));
    clocks_ = 0;
    piece_ = 0;
    frame_ = static_cast<std::uint32_t>(dice.below(3600)) * frames_a_second;
}

TimeTeller::Told TimeTeller::next(test::Dice& dice) { return by_clock_ ? clock(dice) : quarter_frame(); }

// Now and then it goes back to one of the first bars.
TimeTeller::Told TimeTeller::clock(test::Dice& dice)
{
    if (clocks_++ == 0) return {{start}, 1, clock_every_};
    if (!dice.one_in(1500)) return {{clock_status}, 1, clock_every_ - 300'000 + dice.below(600'000)};
    return {{song_position, static_cast<std::uint8_t>(16 * dice.below(4)), 0, continue_}, 4, clock_every_};
}

TimeTeller::Told TimeTeller::quarter_frame()
{
    const std::uint32_t seconds = frame_ / frames_a_second;
    const std::uint32_t fields[] = {frame_ % frames_a_second, seconds % 60, seconds / 60 % 60, seconds / 3600};
    const std::uint32_t high = fields[piece_ / 2] >> 4U | (piece_ == 7 ? 1U << 1U : 0U); // of 25 frames a second
    const std::uint32_t data = piece_ << 4U | (piece_ % 2 == 0 ? fields[piece_ / 2] & 0xFU : high);
    piece_ = (piece_ + 1) % 8;
    if (piece_ == 0) frame_ += 2;
    return {{quarter_frame_status, static_cast<std::uint8_t>(data)}, 2, second / (4 * frames_a_second)};
}

TimeTeller::Told TimeTeller::end()
{
    if (!by_clock_) return {};
    return {{stop}, 1, 0};
}

} // namespace bowarm::world
