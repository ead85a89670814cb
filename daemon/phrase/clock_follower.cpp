#include "phrase/clock_follower.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

constexpr std::int64_t clocks_a_sixteenth = 6;
constexpr double clocks_a_quarter = 24;
constexpr Seconds pause{0.5}; // between two clocks: slower than any tempo, so what follows is measured anew
constexpr std::size_t few = 12;
constexpr double tempo_jump = 0.12;                   // share by which the newest clocks have to differ from the whole window
constexpr double late_at_all = 6, late_for_good = 48; // clocks
constexpr std::int64_t missed_at_most = 3;

} // namespace

void ClockTrack::clock(Time at) noexcept
{
    const std::int64_t missed = clocks_missed(at);
    remember(at);
    heard_ = at;
    if (state_ == State::stopped) return;
    if (awaiting_) {
        position_ = pending_;
        awaiting_ = false;
        return;
    }
    position_ += 1 + missed;
}

void ClockTrack::start(Time at) noexcept
{
    heard_ = at;
    state_ = State::running;
    placed_ = awaiting_ = true;
    pending_ = 0;
}

void ClockTrack::go_on(Time at) noexcept
{
    heard_ = at;
    if (state_ != State::running) awaiting_ = true;
    state_ = State::running;
}

void ClockTrack::stop() noexcept
{
    if (!awaiting_) pending_ = position_ + 1;
    state_ = State::stopped;
}

void ClockTrack::song_position(int sixteenths) noexcept
{
    if (state_ == State::free) state_ = State::stopped;
    pending_ = sixteenths * clocks_a_sixteenth;
    placed_ = awaiting_ = true;
}

void ClockTrack::begin_here(Time at) noexcept
{
    if (placed_ || state_ != State::free || !(clock_ > Seconds{0})) return;
    position_ = nearest(to_seconds(smoothed_ - at) / clock_);
    placed_ = true;
    state_ = State::running;
}

double ClockTrack::steadiness(Time at) const noexcept
{
    if (count_ == 0 && !running()) return 0;
    const Seconds one = clock_ > Seconds{0} ? clock_ : pause / clocks_a_quarter;
    const double late = to_seconds(at - heard_) / one;
    return late <= late_at_all ? 1 : late >= late_for_good ? 0 : (late_for_good - late) / (late_for_good - late_at_all);
}

double ClockTrack::quarters(Time at) const noexcept
{
    if (awaiting_) return static_cast<double>(pending_) / clocks_a_quarter;
    const double since = clock_ > Seconds{0} ? to_seconds(at - smoothed_) / clock_ : 0;
    return (static_cast<double>(position_) + since) / clocks_a_quarter;
}

// A clock that is lost on the way leaves a hole of twice the time in an even row; a row of such holes is a slower tempo.
std::int64_t ClockTrack::clocks_missed(Time at) noexcept
{
    const bool before = missed_last_;
    missed_last_ = false;
    if (count_ <= few || !(clock_ > Seconds{0})) return 0;
    Duration shortest = stamps_[count_ - 1] - stamps_[count_ - 2];
    Duration longest = shortest;
    for (std::size_t i = count_ - few; i < count_ - 1; ++i) {
        const Duration interval = stamps_[i] - stamps_[i - 1];
        if (interval < shortest) shortest = interval;
        if (interval > longest) longest = interval;
    }
    const double times = to_seconds(at - stamps_[count_ - 1]) / clock_;
    const std::int64_t missed = nearest(times) - 1;
    const double off = times - static_cast<double>(missed + 1);
    const bool even = to_seconds(longest - shortest) < clock_ * 0.5;
    if (!even || missed < 1 || missed > missed_at_most || off > 0.25 || off < -0.25) return 0;
    if (before) {
        forget_all_but(1);
        return -missed;
    }
    missed_last_ = true;
    const Time last = stamps_[count_ - 1];
    for (std::int64_t i = 1; i <= missed; ++i) remember(last + Duration{(at - last).ns * i / (missed + 1)});
    return missed;
}

void ClockTrack::remember(Time at) noexcept
{
    if (count_ > 0 && to_seconds(at - stamps_[count_ - 1]) > pause) count_ = 0;
    if (count_ == window) forget_all_but(window - 1);
    stamps_[count_++] = at;
    if (count_ == window) {
        const double change = mean_interval(few) / mean_interval(window - 1);
        if (change > 1 + tempo_jump || change < 1 - tempo_jump) forget_all_but(few + 1);
    }
    measure();
}

double ClockTrack::mean_interval(std::size_t newest) const noexcept
{
    return to_seconds(stamps_[count_ - 1] - stamps_[count_ - 1 - newest]).value / static_cast<double>(newest);
}

void ClockTrack::forget_all_but(std::size_t newest) noexcept
{
    for (std::size_t i = 0; i < newest; ++i) stamps_[i] = stamps_[count_ - newest + i];
    count_ = newest;
}

// The straight line through the stamps with the least squares.
void ClockTrack::measure() noexcept
{
    smoothed_ = stamps_[count_ - 1];
    if (count_ < 2) return;
    const auto n = static_cast<double>(count_);
    const double middle = (n - 1) / 2;
    double sum = 0;
    double slope = 0;
    double squares = 0;
    for (std::size_t i = 0; i < count_; ++i) {
        const double t = to_seconds(stamps_[i] - stamps_[0]).value;
        const double x = static_cast<double>(i) - middle;
        sum += t;
        slope += x * t;
        squares += x * x;
    }
    clock_ = Seconds{slope / squares};
    smoothed_ = stamps_[0] + to_duration(Seconds{sum / n + clock_.value * middle});
}

ClockTrack* ClockFollower::track(Source source) noexcept
{
    for (ClockTrack& t : tracks_)
        if (t.source() == source) return &t;
    return tracks_.push_back(ClockTrack{source}) ? &tracks_.back() : nullptr;
}

void ClockFollower::lead(Time at) noexcept
{
    const auto heard = [at](const ClockTrack& t) { return t.steadiness(at) > 0; };
    const ClockTrack* leader = leader_ ? track(*leader_) : nullptr;
    if (leader != nullptr && leader->running() && heard(*leader)) return;
    for (const ClockTrack& t : tracks_) {
        if (!t.running() || !heard(t)) continue;
        leader_ = t.source();
        return;
    }
    if (leader != nullptr && heard(*leader)) return;
    for (const ClockTrack& t : tracks_)
        if (heard(t)) leader_ = t.source();
}

void ClockFollower::clock(Time at, Source source) noexcept
{
    if (ClockTrack* t = track(source)) t->clock(at);
    lead(at);
}

void ClockFollower::start(Time at, Source source) noexcept
{
    if (ClockTrack* t = track(source)) t->start(at);
    lead(at);
}

void ClockFollower::go_on(Time at, Source source) noexcept
{
    if (ClockTrack* t = track(source)) t->go_on(at);
    lead(at);
}

void ClockFollower::stop(Source source) noexcept
{
    if (ClockTrack* t = track(source)) t->stop();
}

void ClockFollower::song_position(Source source, int sixteenths) noexcept
{
    if (ClockTrack* t = track(source)) t->song_position(sixteenths);
}

void ClockFollower::begin_here(Time at) noexcept
{
    if (ClockTrack* t = leader_ ? track(*leader_) : nullptr) t->begin_here(at);
}

const ClockTrack* ClockFollower::followed(Time at) const noexcept
{
    for (const ClockTrack& t : tracks_)
        if (leader_ && t.source() == *leader_ && t.steadiness(at) > 0) return &t;
    return nullptr;
}

} // namespace bowarm
