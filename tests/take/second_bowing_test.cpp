// Bars bowed again alone: everything outside stays as it was live, and the seam is legal.
#include "take/second_bowing.hpp"

#include "player/random_playing.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <set>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

// Strokes of many lengths on the beats of 4/4 at 120, with rests and accents: bars that can be bowed in more than one way.
std::vector<Input> random_piece(std::uint64_t seed, int notes)
{
    Dice dice(seed);
    std::vector<Input> inputs{tempo_input(at_ms(0), 500'000), meter_input(at_ms(0), 4, 2)};
    constexpr int lengths[] = {125, 250, 250, 500, 500, 750, 1'000, 2'000};
    std::int64_t at = 0;
    for (int i = 0; i < notes; ++i) {
        const int length = lengths[dice.below(std::size(lengths))];
        const int rest = dice.one_in(6) ? 250 * (1 + dice.below(3)) : 0;
        const auto pitch = Midi7::nearest(57 + dice.below(20));
        const auto velocity = Midi7::nearest(40 + dice.below(80));
        inputs.push_back(midi_input(at_ms(at), Source{0}, note_on(Channel{}, pitch, velocity)));
        inputs.push_back(midi_input(at_ms(at + length * 9 / 10), Source{0}, note_off(Channel{}, pitch)));
        at += length + rest;
    }
    return inputs;
}

bool inside(const Decision& d, const Bars& bars) { return bars.first <= d.needs.beat.bar && d.needs.beat.bar <= bars.last; }

} // namespace

TEST_CASE("outside the bars every stroke is decided as live, inside no dearer, and wishes inside hold")
{
    int changed = 0, obeyed = 0;
    const PlayerConfig config = violin_config();
    for (std::uint64_t seed = 1; seed <= 1'000; ++seed) {
        CAPTURE(seed);
        Dice dice(seed + 99);
        const auto inputs = random_piece(seed, 40);
        const Piece piece{config, inputs, inputs.back().at + milliseconds(1'000)};
        const Bars bars{2 + dice.below(3), 5 + dice.below(4)};
        const Recorder alone = bow_live(piece, {}).take;
        std::vector<WishedStroke> wishes;
        for (const Decision& d : alone.decisions())
            if (inside(d, bars) && dice.one_in(4)) wishes.push_back({d.note, opposite(d.direction), false, false});
        const Recorder live = bow_live(piece, wishes).take;
        Hindsight h;
        const Recorder again = bow_with_hindsight(piece, live, wishes, bars, h).take;
        CHECK(h.cost <= h.live_cost);
        REQUIRE(again.decisions().size() == live.decisions().size());
        for (std::size_t i = 0; i < live.decisions().size(); ++i) {
            const Decision& a = live.decisions()[i];
            const Decision& b = again.decisions()[i];
            REQUIRE(a.note == b.note);
            if (!inside(a, bars)) {
                CHECK(a.at == b.at);
                CHECK((a.direction == b.direction));
                CHECK(a.retake == b.retake);
                continue;
            }
            changed += a.direction != b.direction;
            for (const WishedStroke& w : wishes)
                if (w.note == a.note && a.direction == *w.direction) {
                    CHECK((b.direction == *w.direction));
                    ++obeyed;
                }
        }
    }
    CHECK(changed > 300);
    CHECK(obeyed > 1'000);
}

TEST_CASE("before the first of the bars even the bytes that are sent are live's")
{
    const PlayerConfig config = violin_config();
    int compared = 0;
    for (std::uint64_t seed = 1; seed <= 100; ++seed) {
        const auto inputs = random_piece(seed, 40);
        const Piece piece{config, inputs, inputs.back().at + milliseconds(1'000)};
        const Recorder live = bow_live(piece, {}).take;
        Hindsight h;
        const Recorder again = bow_with_hindsight(piece, live, {}, Bars{5, 7}, h).take;
        const Time seam = at_ms(8'000 - 60); // bar 5 begins at 8 s; a hand may be a little early
        for (std::size_t i = 0; i < live.sent().size() && live.sent()[i].at < seam; ++i, ++compared) {
            REQUIRE(i < again.sent().size());
            REQUIRE(live.sent()[i].at == again.sent()[i].at);
            REQUIRE((live.sent()[i].message == again.sent()[i].message));
        }
    }
    CHECK(compared > 10'000);
}

TEST_CASE("with hindsight over the whole, every plan is scored as it was then bowed, and never dearer than live")
{
    int cheaper = 0;
    const PlayerConfig config = violin_config();
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        CAPTURE(seed);
        const auto inputs = random_piece(seed, 60);
        const Piece piece{config, inputs, inputs.back().at + milliseconds(1'000)};
        const Recorder live = bow_live(piece, {}).take;
        Hindsight h;
        const Recorder again = bow_with_hindsight(piece, live, {}, std::nullopt, h).take;
        CHECK(h.regret() >= 0);
        CHECK(h.live_kept == (h.regret() == 0));
        CHECK(*cost_as_bowed(config.instrument, live, again) == doctest::Approx(h.cost));
        CHECK(*cost_as_bowed(config.instrument, live, live) == doctest::Approx(h.live_cost));
        cheaper += !h.live_kept;
    }
    CHECK(cheaper > 100);
}

TEST_CASE("hindsight does not undo free alternation: every stroke goes the other way than the one before, unless it lacks room")
{
    const PlayerConfig config = violin_config();
    int strokes = 0;
    for (std::uint64_t seed = 1; seed <= 200; ++seed) {
        CAPTURE(seed);
        auto inputs = random_piece(seed, 40);
        inputs.insert(inputs.begin(), command_input(at_ms(0), Command::alternate_on));
        const Piece piece{config, inputs, inputs.back().at + milliseconds(1'000)};
        Hindsight h;
        const Recorder again = bow_with_hindsight(piece, bow_live(piece, {}).take, {}, std::nullopt, h).take;
        for (const Decision& d : again.decisions()) {
            const HairFraction room = d.needs.last == Direction::down ? d.needs.place : HairFraction{1} - d.needs.place;
            if (d.needs.first || room < d.needs.room_needed) continue;
            CHECK((d.direction != d.needs.last));
            CHECK(!d.retake);
            ++strokes;
        }
    }
    CHECK(strokes > 5'000);
}

TEST_CASE("what hindsight plans for a loud tune on the low strings is played, from its first note on")
{
    const PlayerConfig config = violin_config();
    std::vector<Input> inputs{tempo_input(at_ms(0), 500'000), meter_input(at_ms(0), 4, 2)};
    constexpr int lengths[] = {250, 250, 500};
    constexpr int pitches[] = {57, 59, 60, 59, 57, 55};
    int at = 0;
    for (int i = 0; i < 48; ++i) {
        const int length = lengths[i % 3];
        const auto pitch = Midi7::nearest(pitches[i % 6]);
        inputs.push_back(midi_input(at_ms(at), Source{0}, note_on(Channel{}, pitch, Midi7::nearest(112))));
        inputs.push_back(midi_input(at_ms(at + length * 9 / 10), Source{0}, note_off(Channel{}, pitch)));
        at += length;
    }
    const Piece piece{config, inputs, inputs.back().at + milliseconds(1'000)};
    const Recorder live = bow_live(piece, {}).take;
    const Hindsight planned = bow_again(config.instrument, live);
    Hindsight h;
    const Recorder again = bow_with_hindsight(piece, live, {}, std::nullopt, h).take;
    REQUIRE(planned.plan.size() == again.decisions().size());
    int retakes = 0;
    for (std::size_t i = 0; i < planned.plan.size(); ++i) {
        CAPTURE(i);
        CHECK((planned.plan[i].direction == again.decisions()[i].direction));
        CHECK(planned.plan[i].retake == again.decisions()[i].retake);
        retakes += planned.plan[i].retake;
    }
    CHECK(retakes > 40);
    CHECK(planned.plan[1].retake); // live could not know yet
    CHECK(!live.decisions()[1].retake);
}

TEST_CASE("desks are bowed again each by itself: the same notes on the same desks, together no dearer, and now and then cheaper")
{
    PlayerConfig config = violin_config();
    config.desks = 2;
    int cheaper = 0;
    for (std::uint64_t seed = 1; seed <= 100; ++seed) {
        CAPTURE(seed);
        std::vector<Input> inputs = random_piece(seed, 40);
        for (const Input& low : random_piece(seed + 1'000, 40)) {
            if (low.kind != InputKind::midi) continue;
            inputs.push_back(low);
            inputs.back().data[1] = static_cast<std::uint8_t>(low.data[1] + 20); // a second voice above
        }
        std::stable_sort(inputs.begin(), inputs.end(), [](const Input& a, const Input& b) { return a.at < b.at; });
        const Piece piece{config, inputs, inputs.back().at + milliseconds(1'000)};
        const Recorder live = bow_live(piece, {}).take;
        Hindsight h;
        const Recorder again = bow_with_hindsight(piece, live, {}, std::nullopt, h).take;
        CHECK(h.cost <= h.live_cost);
        CHECK(h.live_cost == doctest::Approx(bow_desks_again(config, live).live_cost));
        cheaper += h.cost < h.live_cost;
        std::array<std::set<std::uint32_t>, 2> before, after;
        for (const Fact& f : live.facts())
            if (f.kind == FactKind::note_began) before.at(f.desk).insert(f.note);
        for (const Fact& f : again.facts())
            if (f.kind == FactKind::note_began) after.at(f.desk).insert(f.note);
        CHECK(before[0].size() + before[1].size() >= 79); // a note that is struck on a sounding key has no desk of its own
        CHECK(before == after);
    }
    CHECK(cheaper > 50);
}
