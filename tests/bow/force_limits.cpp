// Schelleng's limits against the formulas' worked examples.
#include "bow/force_limits.hpp"
#include "bow/plan.hpp"
#include "player/fixture.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

TEST_CASE("force limits of worked examples")
{
    // high = 2 Z v / (beta dmu): J. Woodhouse, Euphonics 9.3.1 eq. 3 (Schelleng 1973); low = Z^2 v / (2 R beta^2 dmu):
    // the general form of Euphonics 9.4.2 eq. 6 with Y = 1/R.  Row 1 has the published bow and slip speeds of
    // Euphonics 9.3.1 fig. 1; the other inputs are ours, the results arithmetic.
    struct Row {
        double v, beta, z, dmu, r, high, low;
    };
    constexpr Row rows[] = {
        {0.1, 1 / 11.0, 0.55, 0.5, 100, 2.42, 0.03660250},
        {0.2, 0.10, 0.30, 0.5, 50, 2.4, 0.036},
        {0.2, 0.05, 0.30, 0.5, 50, 4.8, 0.144},
        {0.5, 0.125, 0.26, 0.5, 100, 4.16, 0.021632},
    };
    for (const Row& row : rows) {
        const ForceRange f =
            playable_force(MetresPerSecond{row.v}, Beta{row.beta}, {KilogramsPerSecond{row.z}, KilogramsPerSecond{row.r}, row.dmu});
        CHECK(f.high.value == doctest::Approx(row.high).epsilon(1e-6));
        CHECK(f.low.value == doctest::Approx(row.low).epsilon(1e-6));
        CHECK(f.high / f.low == doctest::Approx(4 * row.r * row.beta / row.z).epsilon(1e-6));
    }
}

TEST_CASE("half the distance to the bridge doubles the upper limit and quadruples the lower (Schelleng 1973: slopes -1 and -2)")
{
    const StringContact s{KilogramsPerSecond{0.3}, KilogramsPerSecond{50}, 0.5};
    const ForceRange far = playable_force(MetresPerSecond{0.2}, Beta{0.1}, s);
    const ForceRange near = playable_force(MetresPerSecond{0.2}, Beta{0.05}, s);
    CHECK(near.high / far.high == doctest::Approx(2));
    CHECK(near.low / far.low == doctest::Approx(4));
}

TEST_CASE("the planner reaches the wanted amplitude v / beta and keeps its force inside the limits")
{
    const Instrument violin = test::violin();
    const Planner planner(violin);
    double last = 0;
    for (double loudness = 0.05; loudness <= 1.0; loudness += 0.05) {
        for (std::uint8_t string = 0; string < 4; ++string) {
            CAPTURE(loudness);
            CAPTURE(int{string});
            Demand d;
            d.loudness = Loudness{loudness};
            d.hair_left = Metres{0.4};
            d.remaining = Seconds{1};
            d.place = HairFraction{0.3};
            d.string = string;
            const MotionPlan p = planner.plan(d);
            CHECK(p.loudness_reached);
            CHECK(p.motion.force > p.limits.low);
            CHECK(p.motion.force < p.limits.high);
            if (string == 0) {
                const double amplitude = p.motion.speed.value / p.motion.beta.value;
                CHECK(amplitude > last);
                last = amplitude;
            }
        }
    }
    // Level law: 20 log10 of v / beta.  A player's span is about 30 to 35 dB (J. Meyer 2009, from memory).
    Demand soft;
    soft.loudness = Loudness{0};
    soft.hair_left = Metres{0.5};
    soft.remaining = Seconds{1};
    const Motion pp = planner.plan(soft).motion;
    const double octaves = last / (pp.speed.value / pp.beta.value);
    CHECK(octaves > 10); // 20 dB
    CHECK(octaves < 60); // 35 dB
}

TEST_CASE("a note that needs more hair than is left goes slower and nearer to the bridge at the same loudness")
{
    const Planner planner(test::violin());
    Demand d;
    d.loudness = Loudness{0.5};
    d.remaining = Seconds{2};
    d.hair_left = Metres{0.5};
    const Motion rich = planner.plan(d).motion;
    d.hair_left = Metres{0.2};
    const Motion poor = planner.plan(d).motion;
    CHECK(poor.speed < rich.speed);
    CHECK(poor.beta < rich.beta);
    CHECK(poor.force > rich.force);
    CHECK(poor.speed.value / poor.beta.value == doctest::Approx(rich.speed.value / rich.beta.value));
}

TEST_CASE("sul tasto is a faster, lighter bow and sul ponticello a slower, heavier one, from the same equations")
{
    const Planner planner(test::violin());
    Demand d;
    d.loudness = Loudness{0.4};
    d.remaining = Seconds{1};
    d.hair_left = Metres{1};
    const Motion ordinary = planner.plan(d).motion;
    d.contact_wish = 0;
    const Motion fingerboard = planner.plan(d).motion;
    d.contact_wish = 0.9;
    const Motion bridge = planner.plan(d).motion;
    CHECK(fingerboard.speed > ordinary.speed);
    CHECK(fingerboard.force < ordinary.force);
    CHECK(bridge.speed < ordinary.speed);
    CHECK(bridge.force > ordinary.force);
}
