// The curves: their shapes, when they are sent, and what a wire carries of them.
#include "base/arithmetic.hpp"
#include "target/curves.hpp"
#include "target/fine.hpp"

#include <cmath>
#include <doctest/doctest.h>

using namespace bowarm;

namespace
{

constexpr Midi7 n(int i) { return Midi7::nearest(i); }

BowState state(double loudness, std::int64_t ms = 0)
{
    BowState s;
    s.at = Time{} + milliseconds(ms);
    s.loudness = Loudness{loudness};
    s.now = s.planned = s.neutral = {MetresPerSecond{0.4}, Newtons{1}, Beta{0.1}};
    return s;
}

CurveWay loudness_curve(ControllerKind kind = ControllerKind::control_change, int number = 20)
{
    CurveWay c;
    c.controller = {Channel{}, kind, n(number)};
    c.high = c.controller.highest();
    return c;
}

TargetSpec with(const CurveWay& way)
{
    TargetSpec spec;
    spec.rate_high = 1000;
    spec.curves.push_back(way);
    return spec;
}

} // namespace

TEST_CASE("a curve through points goes straight from one to the next, and stays outside them")
{
    CurveWay c = loudness_curve();
    for (const CurvePoint& p : {CurvePoint{0.2, 10}, CurvePoint{0.5, 90}, CurvePoint{1, 127}}) c.points.push_back(p);
    CHECK(wanted_value(c, state(0)) == doctest::Approx(10));
    CHECK(wanted_value(c, state(0.35)) == doctest::Approx(50));
    CHECK(wanted_value(c, state(0.5)) == doctest::Approx(90));
    CHECK(wanted_value(c, state(0.75)) == doctest::Approx(108.5));
    CHECK(wanted_value(c, state(1)) == doctest::Approx(127));
}

TEST_CASE("every curve, turned round or not, goes one way and keeps to its range")
{
    for (const double exponent : {0.1, 0.5, 1.0, 3.0, 10.0})
        for (const bool round : {false, true}) {
            CurveWay c = loudness_curve();
            c.exponent = exponent;
            c.low = round ? 120 : 3;
            c.high = round ? 3 : 120;
            double before = c.low;
            for (int i = 0; i <= 100; ++i) {
                const double v = wanted_value(c, state(i / 100.0));
                CHECK(v >= 3);
                CHECK(v <= 120);
                CHECK((round ? v <= before : v >= before));
                before = v;
            }
            CHECK(before == doctest::Approx(c.high));
        }
}

TEST_CASE("an exponent is that power of the way, checked against the C library")
{
    CurveWay c = loudness_curve();
    c.exponent = 0.6;
    for (const double x : {0.01, 0.1, 0.5, 0.9}) CHECK(wanted_value(c, state(x)) == doctest::Approx(127 * std::pow(x, 0.6)));
}

TEST_CASE("force and contact point colour by how they differ from what belongs to the loudness")
{
    CurveWay c = loudness_curve();
    c.mixed.push_back({BowQuantity::force, 0.5});
    c.mixed.push_back({BowQuantity::contact_point, -0.5});
    BowState s = state(0.5);
    CHECK(wanted_value(c, s) == doctest::Approx(63.5)); // as the table says: the person's own move and nothing else
    s.now.force = Newtons{1.4};
    CHECK(wanted_value(c, s) == doctest::Approx(63.5 * 1.2));
    s.now.force = Newtons{1};
    s.now.beta = Beta{0.05}; // half as far from the bridge, and the depth is below 0
    CHECK(wanted_value(c, s) == doctest::Approx(63.5 * 1.25));
    s.amount = 0;
    CHECK(wanted_value(c, s) == doctest::Approx(63.5));
}

TEST_CASE("a smoothed curve goes half the way in its time, whatever the steps, and a new stroke is there at once")
{
    CurveWay c = loudness_curve(ControllerKind::control_change_14);
    c.smoothing = Seconds{0.020};
    const TargetSpec spec = with(c);
    const auto after = [&](std::int64_t step_ms, std::int64_t ms) {
        Curves curves;
        curves.first(spec, {}, state(0), Begins::anew);
        int value = 0;
        for (std::int64_t t = step_ms; t <= ms; t += step_ms)
            for (const CurveValue& v : curves.moved(spec, {}, state(1, t))) value = v.value;
        return value;
    };
    CHECK(after(5, 20) == doctest::Approx(16383 / 2.0).epsilon(0.0001));
    CHECK(after(20, 20) == after(5, 20));
    CHECK(after(5, 40) == doctest::Approx(16383 * 0.75).epsilon(0.0001));
    Curves curves;
    curves.first(spec, {}, state(0), Begins::anew);
    CHECK(curves.first(spec, {}, state(1, 20), Begins::connected)[0].value == doctest::Approx(16383 / 2.0).epsilon(0.0001));
    CHECK(curves.first(spec, {}, state(1, 21), Begins::anew)[0].value == 16383);
}

TEST_CASE("a dead band holds small changes back, a highest rate frequent ones, each curve by its own")
{
    TargetSpec spec = with(loudness_curve());
    spec.curves[0].dead_band = 10;
    CurveWay slow = loudness_curve(ControllerKind::control_change, 21);
    slow.rate_high = 10;
    spec.curves.push_back(slow);
    Curves curves;
    CHECK(curves.first(spec, {}, state(0.5), Begins::anew).size() == 2);
    int banded = 0;
    int slowly = 0;
    for (std::int64_t t = 5; t <= 1000; t += 5)
        for (const CurveValue& v : curves.moved(spec, {}, state(0.5 + 0.0005 * static_cast<double>(t), t)))
            ++(v.controller.number == n(20) ? banded : slowly);
    CHECK(banded == 5); // 63 values apart, eleven at a time
    CHECK(slowly == 10);
}

TEST_CASE("the first touch of the person's controller eases from where the loudness stood, or is there at once")
{
    TargetSpec spec = with(loudness_curve());
    for (const double pick_up : {0.0, 0.2}) {
        spec.pick_up = Seconds{pick_up};
        Curves curves;
        curves.first(spec, {}, state(0.2), Begins::anew);
        curves.pick_up(Time{} + milliseconds(100));
        int before = 25;
        int widest = 0;
        for (std::int64_t t = 105; t <= 400; t += 5)
            for (const CurveValue& v : curves.moved(spec, {}, state(1, t))) {
                widest = v.value - before > widest ? v.value - before : widest;
                before = v.value;
            }
        CHECK(before == 127);
        CHECK((pick_up > 0 ? widest <= 4 : widest == 102));
    }
}

TEST_CASE("initial values are sent where they are named, and count as sent")
{
    CurveWay c = loudness_curve();
    c.initial = 64;
    TargetSpec spec = with(c);
    spec.curves.push_back(loudness_curve(ControllerKind::control_change, 21));
    Curves curves;
    const CurveValues values = curves.initial(spec, {});
    REQUIRE(values.size() == 1);
    CHECK(values[0].value == 64);
    CHECK(curves.first(spec, {}, state(64 / 127.0), Begins::anew).size() == 1); // the other one
}

// MIDI 1.0 Detailed Specification 4.2.1, controller numbers: a receiver that gets the high half sets the low one to 0; the low
// half may follow alone while the high one stays.  The receiver below knows that rule and nothing of ours.
TEST_CASE("a receiver of 14 bits always ends at the value meant, and low halves go alone where they can")
{
    struct Receiver {
        int high{0}, low{0};
        void hear(const Message& m)
        {
            if (m.first().get() == 1) {
                high = m.second().get();
                low = 0;
            } else if (m.first().get() == 33) {
                low = m.second().get();
            }
        }
    };
    const Controller fine{Channel{}, ControllerKind::control_change_14, n(1)};
    FineHalves halves;
    Receiver receiver;
    int alone = 0;
    std::uint32_t seed = 7;
    int value = 8000;
    for (int i = 0; i < 20000; ++i) {
        seed = seed * 1664525 + 1013904223;
        value += static_cast<int>(seed >> 24) - 128;
        value = value < 0 ? 0 : (value > 16383 ? 16383 : value);
        const CurveMessages sent = halves.messages(fine, value);
        alone += sent.size() == 1;
        for (const Message& m : sent) {
            halves.saw(m);
            receiver.hear(m);
        }
        REQUIRE(receiver.high * 128 + receiver.low == value);
    }
    CHECK(alone > 5000);
    halves.saw(control_change({}, n(121), {})); // reset all controllers
    CHECK(halves.messages(fine, value).size() == 2);
}
