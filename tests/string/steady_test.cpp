// Schelleng's limits against a string that is bowed: how many slips a period does each force give?
// J. C. Schelleng, The bowed string and the player, J. Acoust. Soc. Am. 53 (1973) 26-41: between the limits one slip a period,
// below the lower several, above the upper none in time, that is a raucous, irregular motion.
#include "bow/force_limits.hpp"
#include "player/fixture.hpp"
#include "string/played.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <map>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr Hertz sample_rate{192000};
constexpr int judged_periods = 40;
constexpr int settling_periods = 100;

// Broken numbers: at beta = 1/n a partial has its node under the bow, a case of its own.
constexpr double betas[] = {0.0613, 0.0821, 0.107, 0.147};
constexpr double speeds[] = {0.1, 0.4};
// 10 to 200 kg/s is what bodies have (order of magnitude, from memory).
constexpr double resistances[] = {10, 30, 100};
constexpr double shares_of_low[] = {0.1, 0.3, 0.5, 0.8, 1.0, 1.2, 1.5, 2.0};
constexpr double shares_of_high[] = {0.3, 0.5, 0.6, 0.8, 1.0, 1.5, 2.0, 3.0, 5.0};

struct Point {
    StringData string;
    double resistance, speed, beta;

    StringMake make() const { return {.impedance = string.impedance, .bridge_resistance = KilogramsPerSecond{resistance}}; }
    // The formula knows one sliding coefficient, the rosin's falls with the speed: what counts is the one at which the string
    // slides, v_b / beta in Helmholtz' motion.  So the difference is mu_s - mu(v_b / beta), 0.39 to 0.49 here, and not the
    // 0.5 of very fast sliding.
    ForceRange limits() const
    {
        const RosinCurve rosin = make().rosin;
        const double difference = rosin.sticking - rosin.at(MetresPerSecond{speed / beta});
        return playable_force(MetresPerSecond{speed}, Beta{beta}, {string.impedance, KilogramsPerSecond{resistance}, difference});
    }
};

// Starts in Helmholtz' motion, for the limits say whether it can go on, not whether a bow can get there.
StringMotion motion(const Point& p, Newtons force)
{
    const Seconds period = period_of(p.string.open_key.get());
    const MetresPerSecond speed{p.speed};
    // Lightly rubbed, a string comes to its steady motion as slowly as its fundamental fades, by 2 Z / R in each period.
    const bool light = force < p.limits().low * 2.5;
    const double periods = std::max<double>(light ? p.resistance / p.string.impedance.value : 0, settling_periods);
    BowedString s(p.make(), sample_rate);
    s.tune(period);
    s.be_helmholtz(speed, Beta{p.beta});
    SlipCounter counter;
    const auto steps = static_cast<int>((periods + judged_periods) * period.value * sample_rate.value);
    for (int i = 0; i < steps; ++i) {
        const Grip grip = s.step(speed, force, Beta{p.beta});
        counter.step(Seconds{i / sample_rate.value}, grip, s.sliding(), speed * period, Seconds{1 / sample_rate.value});
    }
    return judge(counter.slips(), period * periods, period * (periods + judged_periods), period).motion;
}

struct Counts {
    std::array<int, 4> of{};
    int total() const { return of[0] + of[1] + of[2] + of[3]; }
    double share(StringMotion m) const { return static_cast<double>(of[static_cast<std::size_t>(m)]) / total(); }
};
using Row = std::map<double, Counts>; // by share of a limit

void print(const char* limit, double resistance, const Row& row)
{
    for (const auto& [share, c] : row)
        std::printf("  R %3.0f kg/s  F = %.1f %s  one %3d  several %3d  irregular %3d  none %3d  of %d\n", resistance, share, limit,
                    c.of[0], c.of[1], c.of[2], c.of[3], c.total());
}

double one_slip_share(const Row& row, double from, double to)
{
    int one = 0, all = 0;
    for (const auto& [share, c] : row) {
        if (share < from - 1e-9 || share > to + 1e-9) continue;
        one += c.of[static_cast<std::size_t>(StringMotion::one_slip)];
        all += c.total();
    }
    return static_cast<double>(one) / all;
}

} // namespace

TEST_CASE("a bowed string slips once a period between Schelleng's limits, more often below and not regularly above")
{
    const Instrument instrument = violin();
    for (const double r : resistances) {
        Row low, high;
        for (const StringData& string : instrument.strings)
            for (const double v : speeds)
                for (const double b : betas) {
                    const Point p{string, r, v, b};
                    const ForceRange limits = p.limits();
                    const auto see = [&](Row& row, double share, Newtons force) {
                        ++row[share].of[static_cast<std::size_t>(motion(p, force))];
                    };
                    for (const double share : shares_of_low) see(low, share, limits.low * share);
                    for (const double share : shares_of_high) see(high, share, limits.high * share);
                }
        print("F_min", r, low);
        print("F_max", r, high);

        // The bounds leave room beside what was counted, which stands beside them, worst of the three R.
        // Where the string disagrees: its lower limit lies above the formula, by factors of 1.46, 1.31, 1.23 and 1.15 on the
        // average for R = 10, 30, 100 and 300 kg/s: the formula takes the bridge's give as small, to the first order in
        // Z / (R beta), which is 0.6 at worst here.  Neither a string that cannot twist nor a brighter bridge moves that by more than
        // a tenth.  Far below it, with much R, some strings do not stick at all.  Above the upper limit some points find a
        // motion with one slip a period again, a few even at 3 F_max.
        // From half of the upper limit on, up to a quarter of the points split the slip in two, near each other.
        CAPTURE(r);
        CHECK(one_slip_share(low, 0.1, 0.8) <= 0.08);  // 0.03
        CHECK(one_slip_share(low, 1.0, 1.0) <= 0.4);   // 0.22
        CHECK(one_slip_share(low, 1.5, 1.5) >= 0.35);  // 0.47
        CHECK(one_slip_share(low, 2.0, 2.0) >= 0.8);   // 0.88
        CHECK(one_slip_share(high, 0.3, 0.6) >= 0.9);  // 0.95
        CHECK(one_slip_share(high, 0.8, 0.8) >= 0.65); // 0.75
        CHECK(one_slip_share(high, 1.5, 2.0) <= 0.45); // 0.27
        CHECK(one_slip_share(high, 3.0, 5.0) <= 0.25); // 0.13
        for (const auto& [share, c] : high)
            if (share >= 3) CHECK(c.share(StringMotion::irregular) + c.share(StringMotion::no_slips) >= 0.7); // 0.78
    }
}
