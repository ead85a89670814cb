// Which overlaps of keys are slurs, over hands that play both and are not exact.  The hands are our own invention.
#include "phrase/overlaps.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

namespace
{

// A hand whose slurs overlap by 25 ms, give or take.
Overlaps after_slurs(Seconds give_or_take, Seconds usual = Seconds{0.03})
{
    Overlaps hand;
    for (int i = 0; i < 20; ++i) hand.by_accident(Seconds{0.4}, usual + give_or_take * (i % 2 == 0 ? 1.0 : -1.0));
    return hand;
}

} // namespace

TEST_CASE("an overlap under 20 ms is an accident whatever came before")
{
    Overlaps hand;
    CHECK(hand.by_accident(Seconds{0.3}, Seconds{0.019}));
    CHECK(!hand.by_accident(Seconds{0.3}, Seconds{0.021}));
}

TEST_CASE("a longer overlap is an accident where the key was held like separate notes and this hand's slurs are even and otherwise")
{
    Overlaps hand = after_slurs(Seconds{0.004});
    CHECK(!hand.by_accident(Seconds{0.2}, Seconds{0.05})); // no separate note has been heard
    hand.let_go(Seconds{0.2});
    CHECK(hand.by_accident(Seconds{0.205}, Seconds{0.05}));
    CHECK(!hand.by_accident(Seconds{0.25}, Seconds{0.05})); // held longer than those
    CHECK(!hand.by_accident(Seconds{0.205}, Seconds{0.03})); // as its slurs
}

TEST_CASE("a hand whose slurs overlap unevenly gets the benefit: it slurred")
{
    Overlaps hand = after_slurs(Seconds{0.02}, Seconds{0.05});
    hand.let_go(Seconds{0.2});
    CHECK(!hand.by_accident(Seconds{0.2}, Seconds{0.09}));
}

TEST_CASE("what lasts a tenth of a second, or most of the note, is no accident")
{
    Overlaps hand = after_slurs(Seconds{0.004});
    hand.let_go(Seconds{0.2});
    CHECK(!hand.by_accident(Seconds{0.2}, Seconds{0.11}));
    hand.let_go(Seconds{0.09});
    CHECK(!hand.by_accident(Seconds{0.09}, Seconds{0.07}));
}
