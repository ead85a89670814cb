// Which two notes one hand can hold.
#include "bow/fingerboard.hpp"
#include "player/fixture.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

namespace
{

bool together(int a, int b) { return finger_together(test::violin(), Midi7::nearest(a), std::nullopt, Midi7::nearest(b)).has_value(); }

} // namespace

TEST_CASE("double stops of the violin")
{
    struct Row {
        const char* why;
        int a, b;
        bool playable;
    };
    constexpr Row rows[] = {
        // C. Forsyth, Orchestration, 1914, p. 316: an open string goes with anything on its neighbour; p. 317: sixths, thirds
        // and fourths are playable; octaves: common practice, no source.
        {"open strings, a fifth", 62, 69, true},
        {"open D under a tenth", 62, 78, true},
        {"open E over the A string", 76, 70, true},
        {"a major sixth, both stopped", 64, 73, true},
        {"a minor sixth, both stopped", 66, 74, true},
        {"a major third, both stopped", 67, 71, true},
        {"a minor third, both stopped", 66, 69, true},
        {"a fourth, both stopped", 64, 69, true},
        {"an octave, both stopped", 64, 76, true},
        {"a second, the fourth finger on the lower string", 64, 66, true},
        // Geometry.
        {"both below the second string need the lowest", 56, 60, false},
        {"lowest and highest string", 57, 83, false},
        {"three octaves", 58, 94, false},
        {"a tenth of stopped notes in the low positions", 57, 73, false},
        {"below the instrument", 50, 62, false},
    };
    for (const Row& r : rows) {
        CAPTURE(r.why);
        CHECK(together(r.a, r.b) == r.playable);
        CHECK(together(r.b, r.a) == r.playable);
    }
}

TEST_CASE("a held note keeps its string where it can, and the two never share one")
{
    for (int held = 55; held <= 95; ++held) {
        for (int other = 55; other <= 95; ++other) {
            for (std::uint8_t on = 0; on < 4; ++on) {
                const auto free = finger_together(test::violin(), Midi7::nearest(held), std::nullopt, Midi7::nearest(other));
                const auto kept = finger_together(test::violin(), Midi7::nearest(held), on, Midi7::nearest(other));
                CHECK(free.has_value() == kept.has_value());
                if (!kept) continue;
                const int apart = kept->held - kept->other;
                CHECK((apart == 1 || apart == -1));
                if (free->held == on) CHECK(kept->held == on);
            }
        }
    }
}
