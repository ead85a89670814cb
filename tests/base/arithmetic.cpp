// The core's own functions against the C library's, which is the outside reference here.
#include "base/arithmetic.hpp"

#include <cmath>
#include <doctest/doctest.h>

using namespace bowarm;

TEST_CASE("powers and logarithms of two agree with the C library")
{
    for (double x = -20; x <= 20; x += 0.0371) {
        CAPTURE(x);
        CHECK(power_of_two(x) == doctest::Approx(std::exp2(x)).epsilon(1e-9));
        CHECK(std::abs(log_of_two(std::exp2(x)) - x) < 1e-8);
    }
}

TEST_CASE("keys have the frequencies of equal temperament: A4 440 Hz, G3 196.00, E5 659.26, E1 41.20 (MIDI 1.0, orchestra handbooks)")
{
    CHECK(key_frequency(69) == doctest::Approx(440.0));
    CHECK(key_frequency(55) == doctest::Approx(196.00).epsilon(1e-4));
    CHECK(key_frequency(76) == doctest::Approx(659.26).epsilon(1e-4));
    CHECK(key_frequency(28) == doctest::Approx(41.20).epsilon(1e-4));
}

TEST_CASE("the integral of the smooth rise is its area")
{
    double area = 0;
    const int n = 20000;
    for (int i = 0; i < n; ++i) area += smooth_rise((i + 0.5) / n) / n;
    CHECK(smooth_rise_integral(1) == doctest::Approx(area));
    CHECK(smooth_rise_integral(0.5) == doctest::Approx(0.09375));
}
