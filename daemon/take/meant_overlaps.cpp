#include "take/meant_overlaps.hpp"

#include "take/held_notes.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

namespace bowarm
{
namespace
{

constexpr Seconds no_overlap{0.002}, surely_a_slur{0.1};
// How evenly hands do the same thing; our own, found by trying.
constexpr double hold_width = 0.02;            // separate notes: share of the hold
constexpr double overlap_width = 0.004;        // slurs: seconds
constexpr double interval_share = 0.1;         // intervals of one rhythm: a share of them,
constexpr double interval_jitter = 0.04;       // and seconds
constexpr double neighbourhood = 8;            // notes: how long a hand stays with slurs or without them
constexpr double slurred_at_first_sight = 0.7; // of an overlap
constexpr int rounds = 5;                      // more change little

constexpr double root_of_two_pi = 2.5066;

double bell(double distance, double width)
{
    const double x = distance / width;
    return std::exp(-0.5 * x * x) / (width * root_of_two_pi);
}

// Bins of equal ratio.
template <std::size_t count> struct Scale {
    static constexpr std::size_t size = count;
    static constexpr double shortest = 0.005, longest = 20; // seconds
    static double ratio() { return std::log(longest / shortest) / count; }
    static std::size_t bin(double seconds)
    {
        const double place = std::log(std::clamp(seconds, shortest, longest) / shortest) / ratio();
        return std::min(count - 1, static_cast<std::size_t>(place));
    }
    static double middle(std::size_t bin) { return shortest * std::exp((static_cast<double>(bin) + 0.5) * ratio()); }
};

// How long separate notes of a rhythm are held.
class SeparateHabit
{
public:
    void add(const HeldNote& note, double weight)
    {
        const std::size_t i = Intervals::bin(note.interval().value);
        of_interval_[i] += weight;
        count(i, Holds::bin(note.held().value)) += weight;
    }

    // Of its hold, given its interval: a density, 1/s.  `own` of it was counted and is left out.
    double density(const HeldNote& note, double own) const
    {
        constexpr double little = 0.01, level = 0.5; // where nothing is known
        const double interval = note.interval().value, width = interval_jitter + interval_share * interval;
        const std::size_t mine = Intervals::bin(interval), held = Holds::bin(note.held().value);
        double near = 0, all = 0;
        for (std::size_t i = Intervals::bin(interval - 3 * width); i <= Intervals::bin(interval + 3 * width); ++i) {
            const double away = (Intervals::middle(i) - interval) / width;
            const double alike = std::exp(-0.5 * away * away);
            const double left_out = i == mine ? own : 0;
            all += alike * (of_interval_[i] - left_out);
            near += alike * (held_about(i, held) - left_out * bell(0, hold_width));
        }
        return (near / std::max(note.held().value, Holds::shortest) + little * level) / (all + little);
    }

private:
    using Intervals = Scale<166>; // by 5 %
    using Holds = Scale<829>;     // by 1 %
    static constexpr std::size_t reach = 7;

    double held_about(std::size_t interval, std::size_t held) const
    {
        double sum = 0;
        for (std::size_t h = held > reach ? held - reach : 0; h <= std::min(held + reach, Holds::size - 1); ++h)
            sum += count(interval, h) * bell((static_cast<double>(h) - static_cast<double>(held)) * Holds::ratio(), hold_width);
        return sum;
    }
    double count(std::size_t interval, std::size_t held) const { return counts_[interval * Holds::size + held]; }
    double& count(std::size_t interval, std::size_t held) { return counts_[interval * Holds::size + held]; }

    std::vector<double> counts_ = std::vector<double>(Intervals::size * Holds::size);
    std::array<double, Intervals::size> of_interval_{};
};

// How far slurred notes overlap the next.
class SlurHabit
{
public:
    void add(Seconds overlap, double weight)
    {
        all_ += weight;
        if (overlap < surely_a_slur) counts_[bin(overlap)] += weight;
    }

    // As above.  overlap: below surely_a_slur.
    double density(Seconds overlap, double own) const
    {
        constexpr std::size_t reach = 12;
        constexpr double little = 1, level = 5;
        const std::size_t mine = bin(overlap);
        double near = -own * bell(0, overlap_width);
        for (std::size_t i = mine > reach ? mine - reach : 0; i <= std::min(mine + reach, counts_.size() - 1); ++i)
            near += counts_[i] * bell((static_cast<double>(i) - static_cast<double>(mine)) * 0.001, overlap_width);
        return (near + little * level) / (all_ - own + little);
    }

private:
    static std::size_t bin(Seconds overlap) { return static_cast<std::size_t>(overlap.value * 1000); }

    std::array<double, 101> counts_{};
    double all_{0};
};

// Adds to each place what stands before it, the nearest counting most.
template <class In, class Out> void add_fading(In first, In last, Out sum, Out weight)
{
    const double fades = std::exp(-1 / neighbourhood);
    double s = 0, w = 0;
    for (; first != last; ++first, ++sum, ++weight) {
        *sum += s;
        *weight += w;
        s = (s + *first) * fades;
        w = (w + 1) * fades;
    }
}

// How much the notes about each one are slurred, itself left out.
std::vector<double> around(const std::vector<double>& slurred)
{
    std::vector<double> sum(slurred.size()), weight(slurred.size());
    add_fading(slurred.begin(), slurred.end(), sum.begin(), weight.begin());
    add_fading(slurred.rbegin(), slurred.rend(), sum.rbegin(), weight.rbegin());
    for (std::size_t i = 0; i < sum.size(); ++i) sum[i] = std::clamp((sum[i] + 0.5) / (weight[i] + 1), 0.02, 0.98);
    return sum;
}

bool is_open(const HeldNote& note) { return note.in_a_line && note.overlap() > no_overlap && note.overlap() < surely_a_slur; }

// How likely each note is slurred to the next, from 0 to 1.
std::vector<double> slurred_of(const std::vector<HeldNote>& notes)
{
    std::vector<double> slurred;
    for (const HeldNote& note : notes) slurred.push_back(is_open(note) ? slurred_at_first_sight : note.overlap() > no_overlap ? 1 : 0);
    for (int round = 0; round < rounds; ++round) {
        SeparateHabit separate;
        SlurHabit slur;
        for (std::size_t i = 0; i < notes.size(); ++i) {
            if (slurred[i] < 1) separate.add(notes[i], 1 - slurred[i]);
            if (slurred[i] > 0) slur.add(notes[i].overlap(), slurred[i]);
        }
        const std::vector<double> expected = around(slurred);
        for (std::size_t i = 0; i < notes.size(); ++i) {
            if (!is_open(notes[i])) continue;
            const double as_slur = expected[i] * slur.density(notes[i].overlap(), slurred[i]);
            const double as_separate = (1 - expected[i]) * separate.density(notes[i], 1 - slurred[i]);
            slurred[i] = as_slur / (as_slur + as_separate);
        }
    }
    return slurred;
}

} // namespace

std::optional<std::vector<Input>> with_overlaps_as_meant(const std::vector<Input>& inputs, Seconds chord_window)
{
    const std::vector<HeldNote> notes = held_notes(inputs, chord_window);
    if (std::none_of(notes.begin(), notes.end(), is_open)) return std::nullopt;
    const std::vector<double> slurred = slurred_of(notes);
    std::vector<Input> meant = inputs;
    bool any = false;
    for (std::size_t i = 0; i < notes.size(); ++i) {
        if (!is_open(notes[i]) || slurred[i] >= 0.5) continue;
        meant[notes[i].key_up].at = std::max(notes[i].on, notes[i].next - milliseconds(1));
        any = true;
    }
    if (!any) return std::nullopt;
    std::stable_sort(meant.begin(), meant.end(), [](const Input& a, const Input& b) { return a.at < b.at; });
    return meant;
}

} // namespace bowarm
