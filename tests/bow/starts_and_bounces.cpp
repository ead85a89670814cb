#include "bow/bounce.hpp"
#include "bow/clean_start.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

TEST_CASE("the wedge of clean starts at a worked point")
{
    // Cello D string: Z 0.506 kg/s, f0 146.83 Hz, beta 0.10, 1.0 N, mu_s 0.8, mu_d 0.4: 1.055 and 1.577 m/s2,
    // computed from K. Guettler 2002 eqs. 8a and 8b (second-hand).
    const AccelerationRange a = clean_start(Newtons{1}, Beta{0.1}, Seconds{1 / 146.83}, KilogramsPerSecond{0.506}, {0.8, 0.4});
    CHECK(a.low.value == doctest::Approx(1.055).epsilon(1e-3));
    CHECK(a.high.value == doctest::Approx(1.577).epsilon(1e-3));
}

TEST_CASE("the wedge grows with the force, is wider for a contact farther from the bridge, and closes at the bridge (Guettler 2002)")
{
    const auto wedge = [](double force, double beta) {
        return clean_start(Newtons{force}, Beta{beta}, Seconds{1 / 196.0}, KilogramsPerSecond{0.36}, {0.8, 0.3});
    };
    CHECK(wedge(2, 0.1).low.value == doctest::Approx(2 * wedge(1, 0.1).low.value));
    CHECK(wedge(1, 0.15).high / wedge(1, 0.15).low > wedge(1, 0.05).high / wedge(1, 0.05).low);
    CHECK(wedge(1, 1e-4).high / wedge(1, 1e-4).low == doctest::Approx(1).epsilon(1e-2));
}

TEST_CASE("the first slip of a violin G string comes after 14.3 ms (derived: statics of a plucked string)")
{
    // Z 0.36, P 1/196, beta 0.1, 1 N, mu_s 0.8, a = 5 m/s2.
    CHECK(first_slip(Newtons{1}, Beta{0.1}, Seconds{1 / 196.0}, KilogramsPerSecond{0.36}, 0.8, MetresPerSecondSquared{5}).value ==
          doctest::Approx(0.0143).epsilon(5e-3));
}

TEST_CASE("bounce rates along a violin bow (S 55 N, hair 0.65 m, I 0.0048 kg m2, formula derived, values from memory)")
{
    const BouncingBow bow{Newtons{55}, Metres{0.65}, KilogramSquareMetres{0.0048}};
    struct Row {
        double share, rate;
    };
    constexpr Row rows[] = {{0.25, 7.93}, {0.5, 13.74}, {0.667, 19.4}, {0.75, 23.8}};
    for (const Row& r : rows) {
        CHECK(natural_rate(bow, bow.hair * r.share).value == doctest::Approx(r.rate).epsilon(2e-3));
        CHECK(bouncing_place(bow, natural_rate(bow, bow.hair * r.share)) / bow.hair == doctest::Approx(r.share));
    }
}

TEST_CASE("a thrown bow bounces at shrinking intervals and forces (ballistics)")
{
    const BouncingBow bow{Newtons{55}, Metres{0.65}, KilogramSquareMetres{0.0048}, 0.7};
    Contact before = ricochet_contact(bow, Seconds{0.1}, 0);
    double interval = 1;
    for (int k = 1; k < 8; ++k) {
        const Contact c = ricochet_contact(bow, Seconds{0.1}, k);
        const double now = (c.at - before.at).value;
        CHECK(now < interval);
        CHECK(c.force < before.force);
        if (k > 1) CHECK(now / interval == doctest::Approx(0.7));
        interval = now;
        before = c;
    }
}
