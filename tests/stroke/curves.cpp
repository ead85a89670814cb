#include "stroke/stroke.hpp"

#include <cmath>
#include <doctest/doctest.h>
#include <vector>

using namespace bowarm;

namespace
{

constexpr Motion steady{MetresPerSecond{0.3}, Newtons{0.8}, Beta{0.1}};

void begin(Line& line, Technique technique, double accent = 1)
{
    if (is_off_string(technique)) {
        bounce(line, milliseconds(90), steady);
        return;
    }
    AttackNeeds n;
    n.technique = technique;
    n.accent = accent;
    n.loudness = Loudness{0.6};
    n.planned = steady;
    n.frequency = Hertz{293.66};
    n.impedance = KilogramsPerSecond{0.22};
    n.arm_limit = Newtons{2.5};
    start(line, plan_attack(n), steady);
}

// The distance by adding up small steps: an integration that knows nothing of the closed form.
double summed(const Line& line, Duration from, Duration to)
{
    double metres = 0;
    const std::int64_t step = 10'000;
    for (std::int64_t t = from.ns; t < to.ns; t += step)
        metres += line.at(Duration{t + step / 2}).speed.value * static_cast<double>(step) * 1e-9;
    return metres;
}

} // namespace

TEST_CASE("distance is the integral of speed through start, change and turn")
{
    for (const Technique t : {Technique::detache, Technique::legato, Technique::marcato, Technique::staccato, Technique::spiccato}) {
        CAPTURE(static_cast<int>(t));
        Line line;
        begin(line, t, 1.2);
        follow(line, milliseconds(150), {MetresPerSecond{0.5}, Newtons{1.2}, Beta{0.08}});
        turn(line, milliseconds(300), milliseconds(80), t, {MetresPerSecond{-0.4}, Newtons{1}, Beta{0.1}});
        stop(line, milliseconds(600), t, Metres{1});
        CHECK(line.travelled(milliseconds(700)).value ==
              doctest::Approx(summed(line, milliseconds(600), milliseconds(700)) + line.travelled(milliseconds(600)).value));
        CHECK(line.at(milliseconds(700)).speed.value == doctest::Approx(0));
    }
}

TEST_CASE("what has sounded is fixed: replanning keeps place and motion of the moment")
{
    Line line;
    begin(line, Technique::detache);
    const Duration now = milliseconds(17);
    const Motion before = line.at(now);
    const Metres place = line.travelled(now);
    line.replan(now);
    CHECK(line.travelled(now).value == place.value);
    CHECK(line.at(now).speed.value == before.speed.value);
}

TEST_CASE("a turn goes through rest in its middle with one lobe of acceleration (J. Verrel et al. 2013: skilled players)")
{
    Line line;
    begin(line, Technique::legato);
    const Duration begins = milliseconds(500);
    const Duration length = turn_length(Technique::legato, Loudness{0.5});
    // 60 to 120 ms for the whole gesture: shape measured, times weakly known.
    CHECK(length >= milliseconds(60));
    CHECK(length <= milliseconds(120));
    turn(line, begins, length, Technique::legato, {MetresPerSecond{-0.3}, Newtons{0.8}, Beta{0.1}});
    CHECK(line.at(begins + Duration{length.ns / 2}).speed.value == doctest::Approx(0));
    int peaks = 0;
    double last = 0;
    bool rising = false;
    for (std::int64_t ms = 1; ms <= length.ns / 1'000'000; ++ms) {
        const double a = line.at(begins + milliseconds(ms - 1)).speed.value - line.at(begins + milliseconds(ms)).speed.value;
        if (a < last - 1e-9 && rising) ++peaks;
        rising = a > last + 1e-9 || (rising && !(a < last - 1e-9));
        last = a;
    }
    CHECK(peaks == 1);
    CHECK(line.travelled(begins + length).value < line.travelled(begins).value + turn_distance(steady.speed, length).value);
}

TEST_CASE("marcato starts more steeply and with more force than detache")
{
    Line marcato;
    Line detache;
    begin(marcato, Technique::marcato);
    begin(detache, Technique::detache);
    CHECK(marcato.at(milliseconds(15)).speed > detache.at(milliseconds(15)).speed);
    CHECK(marcato.at(milliseconds(0)).force > detache.at(milliseconds(0)).force);
}

TEST_CASE("an off-string stroke leaves the string by itself")
{
    Line line;
    begin(line, Technique::spiccato);
    CHECK(line.at(milliseconds(30)).force.value > 0);
    CHECK(line.at(line.end()).force.value == 0);
    CHECK(line.at(line.end()).speed.value == 0);
}

TEST_CASE("a tremolo comes back to where it began after each pair of strokes, and moves continuously")
{
    Shake shake;
    shake.begin({milliseconds(80)}, Direction::up, MetresPerSecond{0.3});
    double last = 0;
    for (std::int64_t ms = 0; ms <= 960; ++ms) {
        if (ms == 400) shake.aim(MetresPerSecond{0.6});
        shake.pass(milliseconds(ms));
        const double here = shake.travelled(milliseconds(ms)).value;
        CHECK(std::abs(here - last) < 0.6 * 1.5 * 0.001 + 1e-9);
        if (ms % 160 == 0) CHECK(std::abs(here) < 1e-12);
        last = here;
    }
    CHECK(shake.strokes() == 13);
}

TEST_CASE("a hand shakes unevenly, the same hand always in the same way")
{
    Shake one;
    Shake same;
    Shake other;
    one.begin({milliseconds(80), 0.06, 7, 1}, Direction::down, MetresPerSecond{0.3});
    same.begin({milliseconds(80), 0.06, 7, 1}, Direction::down, MetresPerSecond{0.3});
    other.begin({milliseconds(80), 0.06, 8, 1}, Direction::down, MetresPerSecond{0.3});
    int differences = 0;
    for (std::int64_t ms = 0; ms < 4'000; ms += 5) {
        for (Shake* s : {&one, &same, &other}) s->pass(milliseconds(ms));
        CHECK(one.travelled(milliseconds(ms)) == same.travelled(milliseconds(ms)));
        differences += one.travelled(milliseconds(ms)) != other.travelled(milliseconds(ms));
    }
    CHECK(differences > 100);
    // 80 ms a stroke, no more than 6 % off: 50 strokes in four seconds, give or take three.
    CHECK(one.strokes() >= 47);
    CHECK(one.strokes() <= 54);
}

TEST_CASE("a thrown bow goes one way, touches at shrinking intervals, and carries no force between")
{
    Line line;
    throw_bow(line, BouncingBow{Newtons{55}, Metres{0.65}, KilogramSquareMetres{0.0048}, 0.8}, Seconds{0.1}, 6, steady);
    std::vector<std::int64_t> touches;
    bool touching = false;
    for (std::int64_t ms = 0; ms < 600; ++ms) {
        const Motion m = line.at(milliseconds(ms));
        CHECK(m.speed.value >= 0);
        if (m.force.value > 0.05 && !touching) touches.push_back(ms);
        touching = m.force.value > 0.05;
    }
    REQUIRE(touches.size() == 6);
    for (std::size_t i = 2; i < touches.size(); ++i) CHECK(touches[i] - touches[i - 1] < touches[i - 1] - touches[i - 2]);
}
