#include "hear/timecode_clock.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

constexpr Duration silence_is_stop = milliseconds(150);
constexpr double jump_s = 0.1;
constexpr int clocks_a_quarter = 24, clocks_a_sixteenth = 6;
constexpr std::int64_t sixteenths_at_most = 16383; // song position has 14 bits

struct Rate {
    int numbers;     // frame numbers a second
    double a_second; // frames a second
};
constexpr std::array<Rate, 4> rates{{{24, 24.0}, {25, 25.0}, {30, 30000.0 / 1001.0}, {30, 30.0}}};
constexpr unsigned drop_frame = 2;

unsigned rate_of(const std::array<std::uint8_t, 8>& halves) { return halves[7] >> 1U & 3U; }

} // namespace

std::optional<double> TimecodeClock::seconds_of(const std::array<std::uint8_t, 8>& halves) noexcept
{
    const auto both = [&](std::size_t i) { return halves[i] | halves[i + 1] << 4; };
    const int frames = both(0) & 31, seconds = both(2) & 63, minutes = both(4) & 63, hours = (halves[6] | (halves[7] & 1) << 4);
    const Rate& rate = rates[rate_of(halves)];
    if (frames >= rate.numbers || seconds > 59 || minutes > 59 || hours > 23) return std::nullopt;
    const int whole_minutes = hours * 60 + minutes;
    int count = (whole_minutes * 60 + seconds) * rate.numbers + frames;
    if (rate_of(halves) == drop_frame) count -= 2 * (whole_minutes - whole_minutes / 10);
    return count / rate.a_second;
}

void TimecodeClock::hear(Time at, const Message& quarter_frame, Out& out) noexcept
{
    if (map_.empty()) return;
    const std::size_t piece = quarter_frame.bytes[1] >> 4U & 7U;
    if (piece == 0) {
        pieces_ = 0;
        first_piece_ = at;
    }
    if (piece != pieces_) {
        pieces_ = halves_.size(); // nothing more until a first piece comes
        return;
    }
    halves_[piece] = quarter_frame.bytes[1] & 0x0FU;
    last_heard_ = at;
    if (++pieces_ == halves_.size()) whole_time(at, out);
}

void TimecodeClock::whole_time(Time at, Out& out) noexcept
{
    const auto seconds = seconds_of(halves_);
    if (!seconds) return;
    if (at == first_piece_) return begin_at(at, *seconds, false, out); // a full frame
    const double now_s = *seconds + 1.75 / rates[rate_of(halves_)].a_second;
    const double expected = base_s_ + to_seconds(at - base_at_).value;
    const bool jumped = now_s - expected > jump_s || expected - now_s > jump_s;
    if (!running_ || jumped) return begin_at(at, now_s, true, out);
    base_at_ = at;
    base_s_ = now_s;
}

void TimecodeClock::begin_at(Time at, double seconds, bool runs, Out& out) noexcept
{
    stop(at, out);
    base_at_ = at;
    base_s_ = seconds;
    const double sixteenths = quarter_at(seconds) * 4;
    auto next = static_cast<std::int64_t>(sixteenths);
    if (static_cast<double>(next) < sixteenths) ++next;
    next = std::clamp<std::int64_t>(next, 0, sixteenths_at_most);
    next_clock_ = next * clocks_a_sixteenth;
    out.send(at, {{0xF2, static_cast<std::uint8_t>(next & 0x7F), static_cast<std::uint8_t>(next >> 7)}, 3});
    running_ = runs;
    if (runs) out.send(at, {{0xFB, 0, 0}, 1});
}

void TimecodeClock::stop(Time at, Out& out) noexcept
{
    if (running_) out.send(at, {{0xFC, 0, 0}, 1});
    running_ = false;
}

Time TimecodeClock::next_wake() const noexcept
{
    if (!running_) return Time::never();
    const double quarter = static_cast<double>(next_clock_) / clocks_a_quarter;
    const Time clock = base_at_ + to_duration(Seconds{seconds_at(quarter) - base_s_});
    return std::max(last_heard_, std::min(clock, last_heard_ + silence_is_stop));
}

void TimecodeClock::wake(Out& out) noexcept
{
    const Time due = next_wake();
    if (due >= last_heard_ + silence_is_stop) return stop(due, out);
    ++next_clock_;
    out.send(due, {{0xF8, 0, 0}, 1});
}

double TimecodeClock::quarter_at(double seconds) const noexcept
{
    const auto after = std::find_if(map_.begin() + 1, map_.end(), [&](const TempoStep& s) { return s.at_s > seconds; });
    const TempoStep& step = *(after - 1);
    return step.quarter + (seconds - step.at_s) * step.quarters_a_second;
}

double TimecodeClock::seconds_at(double quarter) const noexcept
{
    const auto after = std::find_if(map_.begin() + 1, map_.end(), [&](const TempoStep& s) { return s.quarter > quarter; });
    const TempoStep& step = *(after - 1);
    return step.at_s + (quarter - step.quarter) / step.quarters_a_second;
}

} // namespace bowarm
