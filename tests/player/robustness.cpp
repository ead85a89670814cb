// The planner keeps the force inside limits that it computes itself, which proves little.  Here its motions are judged with
// the bridge resistance and the friction anywhere in the published ranges: R 10 to 200 kg/s (order of magnitude only, from
// memory), friction difference 0.5 to 0.85 (Guettler's pair; Smith & Woodhouse 2000; from memory).
#include "player/random_playing.hpp"

#include "bow/force_limits.hpp"

#include <cstdio>
#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

struct Seen {
    MetresPerSecond speed;
    Newtons force;
    Beta beta;
    std::uint8_t string;
};

// Sane playing: notes of all lengths, soft to loud, with a moving loudness; sampled where the bow moves steadily.
std::vector<Seen> steady_motions()
{
    std::vector<Seen> seen;
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        Dice dice(seed);
        Player player{violin_config()};
        Memory memory;
        Hands hands{player, memory};
        std::int64_t at = 0;
        for (int i = 0; i < 60; ++i) {
            const int pitch = 56 + dice.below(34);
            const std::int64_t length = 200 + dice.below(1'500);
            hands.controller(at, 11, 15 + dice.below(105));
            hands.down(at + 5, pitch, 30 + dice.below(90));
            for (std::int64_t t = at + 160; t < at + length - 20; t += 20) {
                hands.until(t);
                Snapshot s;
                player.read(s);
                if (s.on_string && s.speed > MetresPerSecond{0.02}) seen.push_back({s.speed, s.force, s.beta, s.string});
            }
            hands.up(at + length, pitch);
            at += length + 60;
        }
    }
    return seen;
}

double share_inside(const std::vector<Seen>& seen, double resistance, double friction)
{
    const Instrument violin_data = violin();
    double inside = 0;
    for (const Seen& m : seen) {
        const ForceRange f =
            practical_force(m.speed, m.beta, {violin_data.strings[m.string].impedance, KilogramsPerSecond{resistance}, friction});
        inside += f.low <= m.force && m.force <= f.high;
    }
    return inside / static_cast<double>(seen.size());
}

} // namespace

TEST_CASE("the force stays inside Schelleng's region, and mostly even where bridge and friction are not as assumed")
{
    const auto seen = steady_motions();
    REQUIRE(seen.size() > 10'000);
    std::printf("share of on-string time inside Schelleng's limits\n  R (kg/s)   dmu 0.5   dmu 0.67   dmu 0.85\n");
    for (const double r : {10.0, 20.0, 50.0, 100.0, 200.0})
        std::printf("  %6.0f     %6.3f    %6.3f     %6.3f\n", r, share_inside(seen, r, 0.5), share_inside(seen, r, 0.67),
                    share_inside(seen, r, 0.85));
    CHECK(share_inside(seen, 100, 0.5) >= 0.995);
    CHECK(share_inside(seen, 200, 0.5) >= 0.995);
    CHECK(share_inside(seen, 20, 0.5) >= 0.90);
}

TEST_CASE("distance is the integral of speed, and speed and force stay within the arm's bounds")
{
    for (std::uint64_t seed = 1; seed <= 60; ++seed) {
        CAPTURE(seed);
        const PlayerConfig config = random_config(seed);
        Player player{config};
        Memory memory;
        Snapshot s;
        double worst = 0;
        double hair = -1;
        double speed = 0;
        Time last{};
        std::uint32_t stroke = 0;
        for (const Input& input : random_playing(seed, 120)) {
            while (player.next_wake() <= input.at && player.next_wake() != Time::never()) {
                player.wake(memory);
                player.read(s);
                CHECK(s.speed <= config.instrument.speed_high);
                CHECK(s.force <= config.instrument.force_high_at_frog * 1.5);
                // Steps inside one stroke: the trapezium rule over 5 ms is near enough.
                if (s.strokes == stroke && hair >= 0 && s.at - last <= milliseconds(5) && s.technique != Technique::tremolo) {
                    const double moved = (s.hair.value - hair) * config.instrument.hair.value;
                    const double wanted = (s.speed.value + speed) / 2 * to_seconds(s.at - last).value;
                    const double off = (moved < 0 ? -moved : moved) - wanted;
                    worst = off < 0 ? (-off > worst ? -off : worst) : (off > worst ? off : worst);
                }
                hair = s.hair.value;
                speed = s.speed.value;
                stroke = s.strokes;
                last = s.at;
            }
            player.on(input, memory);
            hair = -1;
        }
        CHECK(worst < 0.0015); // metres a step
    }
}
