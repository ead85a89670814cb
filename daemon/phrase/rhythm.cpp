#include "phrase/rhythm.hpp"

namespace bowarm
{
namespace
{

constexpr Seconds default_interval{0.6};
constexpr Seconds longest_interval{4.0}; // a longer one is a rest and says nothing about the next note
constexpr std::size_t recent = 3;
constexpr std::size_t line = 4; // notes by which a tune is told from a run
constexpr double uneven_ratio = 1.3;
constexpr Seconds shortest_rest{0.3};
constexpr double rest_over_usual = 2.2;
constexpr Seconds shortest_hook{0.09}; // quicker than that nobody stops the bow between

} // namespace

void Rhythm::onset(Time at, bool slurred) noexcept
{
    if (open_) {
        const Seconds interval = to_seconds(at - onset_);
        const bool rest = count_ > 0 && !slurred && interval - held_ > shortest_rest && interval > expected_interval() * rest_over_usual;
        if (interval > longest_interval)
            forget();
        else if (!rest)
            remember({interval, slurred ? interval : held_, slurred, reached_});
    }
    open_ = true;
    reached_ = slurred;
    onset_ = at;
    held_ = Seconds{0};
}

void Rhythm::key_up(Time at) noexcept
{
    if (open_) held_ = to_seconds(at - onset_);
}

void Rhythm::was_separate() noexcept
{
    reached_ = false;
    if (count_ > 0) past_[0].slurred = false;
}

void Rhythm::remember(const PastNote& note) noexcept
{
    for (std::size_t i = memory - 1; i > 0; --i) past_[i] = past_[i - 1];
    past_[0] = note;
    if (count_ < memory) ++count_;
}

Seconds Rhythm::expected_interval() const noexcept
{
    if (count_ == 0) return default_interval;
    // The newest counts most; a single odd one does not carry the day.
    double weight = 1;
    double sum = 0;
    double weights = 0;
    for (std::size_t i = 0; i < count_; ++i) {
        sum += weight * past_[i].interval.value;
        weights += weight;
        weight *= 0.6;
    }
    return Seconds{sum / weights};
}

Hertz Rhythm::rate_of(std::size_t most) const noexcept
{
    double sum = 0;
    double n = 0;
    for (std::size_t i = 0; i < count_ && i < most; ++i) {
        sum += past_[i].interval.value;
        n += 1;
    }
    return Hertz{sum > 0 ? n / sum : 0.0};
}

Hertz Rhythm::rate() const noexcept { return rate_of(recent); }
Hertz Rhythm::steady_rate() const noexcept { return rate_of(memory); }

bool Rhythm::short_after_long(bool compound) const noexcept
{
    if (count_ < 3 || past_[0].slurred) return false;
    const double now = past_[0].interval / past_[1].interval;
    const double before = past_[2].interval / past_[1].interval;
    return is_hooked_pair(now, compound) && is_hooked_pair(before, compound) && past_[1].interval > shortest_hook;
}

bool Rhythm::uneven() const noexcept
{
    if (count_ < line) return false;
    Seconds shortest = past_[0].interval, longest = past_[0].interval;
    for (std::size_t i = 1; i < line; ++i) {
        if (past_[i].interval < shortest) shortest = past_[i].interval;
        if (longest < past_[i].interval) longest = past_[i].interval;
    }
    return longest > shortest * uneven_ratio;
}

void Rhythm::forget() noexcept { count_ = 0; }

} // namespace bowarm
