// From rest: which accelerations start a bowed string quickly?  K. Guettler, On the creation of the Helmholtz motion in bowed
// strings, Acta Acustica 88 (2002) 970-985: a wedge of acceleration against force; above it several slips, below it creak.
#include "bow/clean_start.hpp"
#include "bow/plan.hpp"
#include "player/fixture.hpp"
#include "string/played.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr double sample_rate = 192000;
constexpr Seconds length{0.25};
constexpr Seconds settle{0.05}; // from the force of the start to the planned one

struct Start {
    std::uint8_t string;
    Motion planned;
    Newtons force;
    MetresPerSecondSquared acceleration;
};

Seconds regular_after(const Instrument& instrument, const Start& start)
{
    const StringData& data = instrument.strings[start.string];
    const Seconds period = period_of(data.open_key.get());
    BowedString s({.impedance = data.impedance, .bridge_resistance = instrument.bridge_resistance}, Hertz{sample_rate});
    s.tune(period);
    s.be_still();
    SlipCounter counter;
    const Seconds rise = start.planned.speed / start.acceleration;
    for (int i = 0; i < static_cast<int>(length.value * sample_rate); ++i) {
        const Seconds now{i / sample_rate};
        const MetresPerSecond speed = now < rise ? start.planned.speed * (now / rise) : start.planned.speed;
        const double settled = now < rise ? 0 : std::min(1.0, (now - rise) / settle);
        const Newtons force = start.force + (start.planned.force - start.force) * settled;
        const Grip grip = s.step(speed, force, start.planned.beta);
        counter.step(now, grip, s.sliding(), speed * period, Seconds{1 / sample_rate});
    }
    return regular_from(counter.slips(), Seconds{0}, length, period);
}

// The formula knows one sliding coefficient, the rosin's falls with the speed: what counts is how fast the string slides
// when it first lets go, v / beta with the bow's speed v at that moment.
AccelerationRange wedge_of(const StringData& data, Newtons force, Beta beta, Seconds period)
{
    const RosinCurve rosin;
    const Friction fast{rosin.sticking, rosin.sliding};
    const MetresPerSecondSquared about = clean_start(force, beta, period, data.impedance, fast).low;
    const Seconds slip = first_slip(force, beta, period, data.impedance, rosin.sticking, about);
    const MetresPerSecond bow{about.value * slip.value};
    return clean_start(force, beta, period, data.impedance, {rosin.sticking, rosin.at(bow / beta.value)});
}

} // namespace

TEST_CASE("a string bowed from rest starts quickly in the wedge of clean starts, and seldom far from it")
{
    const Instrument instrument = violin();
    const Planner planner(instrument);
    constexpr int steps = 6; // half octaves to each side of the wedge's middle
    struct Count {
        int quick{0}, all{0};
        double share() const { return static_cast<double>(quick) / all; }
    };
    std::array<Count, 2 * steps + 1> counts{};
    for (const double loudness : {0.3, 0.45, 0.6, 0.75, 0.9})
        for (std::uint8_t string = 0; string < 4; ++string) {
            const Motion planned = planner.ordinary(Loudness{loudness}, string);
            const StringData& data = instrument.strings[string];
            for (const double heavier : {0.7, 1.0, 1.4}) {
                const Newtons force = planned.force * heavier;
                const AccelerationRange wedge = wedge_of(data, force, planned.beta, period_of(data.open_key.get()));
                const double middle = std::sqrt(wedge.low.value * wedge.high.value);
                for (int half = -steps; half <= steps; ++half) {
                    const Start start{string, planned, force, MetresPerSecondSquared{middle * std::exp2(half / 2.0)}};
                    Count& c = counts[static_cast<std::size_t>(half + steps)];
                    const Seconds after = regular_after(instrument, start);
                    if (after >= Seconds{0} && after < accepted_creak) ++c.quick;
                    ++c.all;
                }
            }
        }
    for (int half = -steps; half <= steps; ++half) {
        const Count& c = counts[static_cast<std::size_t>(half + steps)];
        std::printf("  acceleration %5.2f times the wedge's middle: regular within 50 ms %2d of %2d\n", std::exp2(half / 2.0), c.quick,
                    c.all);
    }
    // Counted, of 60: 47 and 43 in the wedge (its lower edge lies at about 0.85 of the middle), 8 at a sixth, 14 at nearly three times.
    const auto share = [&](int half) { return counts[static_cast<std::size_t>(half + steps)].share(); };
    CHECK(share(0) > 0.5);
    CHECK(share(-1) > 0.5);
    CHECK(share(-1) > 2 * share(-5));
    CHECK(share(-1) > 2 * share(3));
}
