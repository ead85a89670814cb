// Each row of the cost table by itself: two candidates that are alike but for what the row speaks of.  Sources stand in bow/choice.cpp.
#include "bow/choice.hpp"

#include "player/fixture.hpp"

#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

// After an up-bow and a rest, in the middle of the hair: nothing speaks strongly for either way.
ChoiceNeeds after_a_rest(Direction last)
{
    ChoiceNeeds n;
    n.last = last;
    n.place = HairFraction{0.5};
    n.gap = Seconds{0.6};
    n.lift_after = Seconds{0.25};
    n.expected = Seconds{0.3};
    n.length_known = true;
    n.speed = MetresPerSecond{0.25};
    n.slowest = MetresPerSecond{0.05};
    n.loudness = Loudness{0.5};
    n.preferred = n.place;
    return n;
}

ChoiceNeeds in_a_bar(ChoiceNeeds n, double weight)
{
    n.beat.confidence = 1;
    n.beat.weight = weight;
    n.beat.beat_length = Seconds{0.5};
    return n;
}

Choice of(const ChoiceNeeds& n) { return choose(violin(), n); }
bool down(const ChoiceNeeds& n) { return of(n).direction == Direction::down; }
bool because(const ChoiceNeeds& n, Term term)
{
    for (const Term t : of(n).decided)
        if (t == term) return true;
    return false;
}

} // namespace

TEST_CASE("the strong beat after a rest is down, a weak start up (K. W. Gehrkens, Essentials in Conducting, 1919)")
{
    const ChoiceNeeds strong = in_a_bar(after_a_rest(Direction::down), 1);
    CHECK(down(strong));
    CHECK(because(strong, Term::strong_beat));
    const ChoiceNeeds weak = in_a_bar(after_a_rest(Direction::down), 0.3);
    CHECK(!down(weak));
}

TEST_CASE("strokes before the barline are counted: odd begins up, even down (string-class textbook, guidelines for bowing)")
{
    for (int count = 1; count <= 6; ++count) {
        CAPTURE(count);
        ChoiceNeeds n = in_a_bar(after_a_rest(count % 2 == 0 ? Direction::down : Direction::up), 0);
        n.strokes_ahead = count;
        n.ahead_confidence = 0.9;
        CHECK(down(n) == (count % 2 == 0));
        CHECK(because(n, Term::count_ahead));
    }
}

TEST_CASE("with hindsight the beat that a group arrives at pays for an up-bow")
{
    ChoiceNeeds n = in_a_bar(after_a_rest(Direction::down), 1);
    n.gap = Seconds{0};
    const auto cost_of_up = [](const ChoiceNeeds& needs) {
        for (const BowOption& o : bow_options(violin(), needs))
            if (o.direction == Direction::up) return o.cost;
        return 0.0;
    };
    const double without = cost_of_up(n);
    n.arrives = true;
    CHECK(cost_of_up(n) > without);
}

TEST_CASE("a jump in loudness begins a new group, whose count may begin anew (common practice, no source)")
{
    ChoiceNeeds n = in_a_bar(after_a_rest(Direction::down), 0);
    n.gap = Seconds{0.02};
    n.strokes_ahead = 2;
    n.ahead_confidence = 0.9;
    CHECK(!down(n)); // in the middle of a group strokes alternate
    n.fresh = true;
    CHECK(begins_group(n));
}

TEST_CASE("crescendo up, diminuendo down (orchestration study notes, and Green 1990, from memory)")
{
    ChoiceNeeds n = after_a_rest(Direction::up);
    n.gap = Seconds{1.5}; // a long rest: alternation hardly binds
    n.swell = Swell::growing;
    CHECK(!down(n));
    CHECK(because(n, Term::swell));
    n.last = Direction::down;
    n.swell = Swell::fading;
    CHECK(down(n));
    CHECK(because(n, Term::swell));
}

TEST_CASE("a long last note is a down-bow, unless it grows (Green 1990, from memory)")
{
    ChoiceNeeds n = after_a_rest(Direction::down);
    n.gap = Seconds{1.5};
    CHECK(!down(n));
    n.final_long = true;
    CHECK(down(n));
    CHECK(because(n, Term::final_note));
    n.swell = Swell::growing;
    CHECK(!down(n));
}

TEST_CASE("a long note off the beat is down where nothing else asks (Green 1990, from memory)")
{
    ChoiceNeeds n = in_a_bar(after_a_rest(Direction::down), 0);
    n.gap = Seconds{1.5};
    n.strokes_ahead = 3; // so that the pickup does not speak; not sure at all
    n.ahead_confidence = 0.01;
    n.expected = Seconds{0.7};
    CHECK(down(n));
    CHECK(because(n, Term::syncopation));
    n.expected = Seconds{0.2};
    CHECK(!down(n));
}

TEST_CASE("the same figure is bowed the same way (common practice, no source)")
{
    for (const Direction before : {Direction::down, Direction::up}) {
        ChoiceNeeds n = after_a_rest(before);
        n.gap = Seconds{1.5};
        n.figure = before;
        CHECK((of(n).direction == before));
        CHECK(because(n, Term::figure));
    }
}

TEST_CASE("who doubles another player goes the other's way, against rules of practice, not against a wish (common practice, no source)")
{
    for (const Direction other : {Direction::down, Direction::up}) {
        ChoiceNeeds n = in_a_bar(after_a_rest(Direction::down), 1);
        n.loudness = other == Direction::down ? Loudness{0.3} : Loudness{0.8};
        n.doubled = other;
        CHECK((of(n).direction == other));
        CHECK(because(n, Term::doubled));
        n.wish = opposite(other);
        CHECK((of(n).direction == opposite(other)));
    }
}

TEST_CASE("forte chords are struck down again where a player has the time for it, and no nearer (string-class textbook: chords)")
{
    ChoiceNeeds n = after_a_rest(Direction::down);
    n.gap = Seconds{0.03};
    n.loudness = Loudness{0.85};
    n.chord = 3;
    n.since_last = Seconds{0.32}; // three- and four-note chords: 0.316 s, counted in an editor's part
    CHECK(of(n).retake);
    CHECK(down(n));
    n.since_last = Seconds{0.15};
    CHECK(!of(n).retake);
}
