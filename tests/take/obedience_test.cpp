// The person's word is law: every wish is obeyed, or refused with a reason that holds.
#include "take/obedience.hpp"

#include "player/random_playing.hpp"
#include "take/second_bowing.hpp"

#include <doctest/doctest.h>
#include <map>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

Input key(std::int64_t ms, int pitch)
{
    return midi_input(at_ms(ms), Source{0}, note_on(Channel{}, Midi7::nearest(pitch), Midi7::nearest(70)));
}
Input release(std::int64_t ms, int pitch) { return midi_input(at_ms(ms), Source{0}, note_off(Channel{}, Midi7::nearest(pitch))); }

std::vector<Wish> wishes_of(std::string_view text) { return std::get<std::vector<Wish>>(read_wishes(text)); }

// Quarters in 4/4 at 120, each held for 400 of its 500 ms; bar n begins at 2000 (n - 1) ms.
std::vector<Input> quarters(int bars)
{
    std::vector<Input> inputs{tempo_input(at_ms(0), 500'000), meter_input(at_ms(0), 4, 2)};
    for (int i = 0; i < bars * 4; ++i) {
        inputs.push_back(key(i * 500, 67 + i % 5));
        inputs.push_back(release(i * 500 + 400, 67 + i % 5));
    }
    return inputs;
}

struct Obeyed {
    Bowing bowing;
    std::vector<WishOutcome> outcomes;
};

Obeyed bowed_with(const std::vector<Input>& inputs, std::string_view text)
{
    const PlayerConfig config = violin_config();
    const auto wishes = wishes_of(text);
    const Piece piece{config, inputs, inputs.back().at + milliseconds(1'000)};
    const auto meant = strokes_meant(wishes, bow_live(piece, {}).take, 0);
    REQUIRE(std::holds_alternative<Meant>(meant));
    Obeyed result{bow_live(piece, std::get<Meant>(meant).wished), {}};
    result.outcomes = outcomes_of(config.instrument, wishes, std::get<Meant>(meant), result.bowing.take);
    return result;
}

std::string refused(const std::vector<Input>& inputs, std::string_view text) { return bowed_with(inputs, text).outcomes[0].refused; }

// What the facts alone say of the stroke in which a note begins.
struct Seen {
    Direction direction{Direction::down};
    bool retake{false};
    std::optional<Direction> before; // of the stroke before
};

std::optional<Seen> seen(const Recorder& take, std::uint32_t note)
{
    std::map<std::uint32_t, Fact> strokes;
    std::optional<std::uint32_t> stroke;
    for (const Fact& f : take.facts()) {
        if (f.kind == FactKind::stroke_began) strokes[f.stroke] = f;
        if (f.kind == FactKind::note_began && f.note == note && !f.slurred) stroke = f.stroke;
    }
    if (!stroke || !strokes.contains(*stroke)) return std::nullopt;
    Seen s{strokes[*stroke].direction, strokes[*stroke].retake, {}};
    if (*stroke > 0 && strokes.contains(*stroke - 1)) s.before = strokes[*stroke - 1].direction;
    return s;
}

std::vector<Wish> random_wishes(Dice& dice, int notes)
{
    std::vector<Wish> wishes;
    const int count = 1 + dice.below(6);
    for (int i = 0; i < count; ++i) {
        Wish wish;
        wish.line = static_cast<std::size_t>(i) + 1;
        if (dice.one_in(3)) {
            wish.bar = 1 + dice.below(5);
            wish.beat = 1 + dice.below(16) * 0.25;
        } else {
            wish.note = static_cast<std::uint32_t>(dice.below(notes));
        }
        if (dice.one_in(5)) {
            wish.same_bow = true;
        } else {
            wish.retake = dice.one_in(3);
            if (!wish.retake || dice.one_in(2)) wish.direction = dice.one_in(2) ? Direction::up : Direction::down;
        }
        wishes.push_back(wish);
    }
    return wishes;
}

// A refusal has a cause in hair or time that can be checked without asking the one who refused.
bool has_cause(const Instrument& instrument, const Wish& wish, const Decision& d)
{
    const ChoiceNeeds& n = d.needs;
    if (n.first) return wish.same_bow || wish.retake;
    const auto no_room = [&n](Direction direction) {
        return (direction == Direction::down ? HairFraction{1} - n.place : n.place) < n.room_needed;
    };
    if (wish.same_bow) return no_room(n.last);
    const bool no_time = n.gap < instrument.retake_whole;
    if (wish.retake && no_time) return true;
    return wish.direction && d.direction != *wish.direction && no_room(*wish.direction) && no_time;
}

void check(const PlayerConfig& config, const std::vector<Wish>& wishes, const Meant& meant, const Recorder& take, int& obeyed,
           int& refused_ones)
{
    const auto outcomes = outcomes_of(config.instrument, wishes, meant, take);
    REQUIRE(outcomes.size() == wishes.size());
    for (std::size_t i = 0; i < wishes.size(); ++i) {
        const Wish& wish = wishes[i];
        CAPTURE(wish_text(wish));
        CAPTURE(outcomes[i].refused);
        const auto* note = std::get_if<std::uint32_t>(&meant.strokes[i]);
        if (!outcomes[i].refused.empty()) {
            ++refused_ones;
            if (note == nullptr) continue;
            for (const Decision& d : take.decisions())
                if (d.note == *note) CHECK(has_cause(config.instrument, wish, d));
            continue;
        }
        ++obeyed;
        REQUIRE(note != nullptr);
        const auto stroke = seen(take, *note);
        REQUIRE(stroke);
        if (wish.direction) CHECK((stroke->direction == *wish.direction));
        if (wish.retake) CHECK(stroke->retake);
        if (wish.same_bow) CHECK(((stroke->direction == stroke->before) && !stroke->retake));
    }
}

} // namespace

TEST_CASE("random takes, random wishes: each is obeyed, or refused for want of hair or time, live and with hindsight")
{
    int obeyed = 0, refused_ones = 0, contradictions = 0, cheaper = 0;
    for (std::uint64_t seed = 1; seed <= 3'000; ++seed) {
        CAPTURE(seed);
        Dice dice(seed * 77);
        PlayerConfig config = random_config(seed);
        if (dice.one_in(2)) {
            config.tempo = 120;
            config.meter_beats = 4;
        }
        const auto inputs = random_playing(seed, 50);
        const Piece piece{config, inputs, inputs.back().at + milliseconds(1'000)};
        const auto wishes = random_wishes(dice, 25);
        const auto named = strokes_meant(wishes, bow_live(piece, {}).take, config.meter_beats);
        if (const auto* c = std::get_if<Contradiction>(&named)) {
            CHECK((1 <= c->first_line && c->first_line < c->line && c->line <= wishes.size()));
            ++contradictions;
            continue;
        }
        const Meant& meant = std::get<Meant>(named);
        const Bowing live = bow_live(piece, meant.wished);
        check(config, wishes, meant, live.take, obeyed, refused_ones);
        Hindsight h;
        const Bowing again = bow_with_hindsight(piece, live.take, meant.wished, std::nullopt, h);
        check(config, wishes, meant, again.take, obeyed, refused_ones);
        CHECK(h.cost <= h.live_cost);
        const auto cost = cost_as_bowed(config.instrument, live.take, again.take);
        REQUIRE(cost);
        CHECK(*cost == doctest::Approx(h.cost));
        cheaper += h.cost < h.live_cost;
    }
    CHECK(obeyed > 2'000);
    CHECK(refused_ones > 1'000);
    CHECK(contradictions > 20);
    CHECK(cheaper > 500);
}

TEST_CASE("a place names the note nearest to it, within a quarter of a beat, over the barline too")
{
    // The bar's first note comes 150 ms early: 4:4.7 as the clock sees it.
    std::vector<Input> inputs{tempo_input(at_ms(0), 500'000),
                              meter_input(at_ms(0), 4, 2),
                              key(1'000, 69),
                              release(1'300, 69),
                              key(1'880, 71),
                              release(2'400, 71)};
    for (const auto* text : {"1:3 up", "1:3.25 up", "1:2.75 up", "2:1 up", "1:4.75 up", "note 0 up"}) {
        CAPTURE(text);
        CHECK(refused(inputs, text) == "");
    }
    CHECK(refused(inputs, "1:2.5 up") == "no note begins at 1:2.5");
    CHECK(refused(inputs, "1:5 up") == "no note begins at 1:5"); // 4/4 has no fifth beat
    CHECK(refused(inputs, "31:2 up") == "no note begins at 31:2");
}

TEST_CASE("what cannot be obeyed is refused in words that say what to do")
{
    const auto inputs = quarters(3);
    CHECK(refused(inputs, "1:1 same-bow").find("first stroke") != std::string::npos);
    CHECK(refused(inputs, "1:1 retake").find("first stroke") != std::string::npos);
    CHECK(refused(inputs, "note 99 up").find("no note 99 was bowed") != std::string::npos);
    CHECK(refused(inputs, "2:2 retake").find("the rest before it is too short by 0.") != std::string::npos); // 100 ms of rest

    const std::vector<Input> slurred{key(0, 69), key(500, 71), release(540, 69), release(1'000, 71)};
    CHECK(refused(slurred, "note 1 up").find("slurred to the one before") != std::string::npos);
    CHECK(refused(slurred, "1:1 up").find("bars are unknown") != std::string::npos);

    const std::vector<Input> plucked{key(0, 18), release(50, 18), key(500, 69), release(900, 69)}; // key 18 chooses pizzicato
    CHECK(refused(plucked, "note 1 up") == "the note is plucked");
    CHECK(refused(plucked, "note 0 up").find("control key") != std::string::npos);
}

TEST_CASE("a chord is one stroke, whichever of its notes is named, and turns as wished")
{
    std::vector<Input> inputs{key(0, 62), release(400, 62)};
    for (const int pitch : {55, 62, 71}) inputs.push_back(key(1'000, pitch));
    for (const int pitch : {55, 62, 71}) inputs.push_back(release(1'800, pitch));
    for (const auto* text : {"note 1 up", "note 2 up", "note 3 up"}) {
        CAPTURE(text);
        const Obeyed result = bowed_with(inputs, text);
        CHECK(result.outcomes[0].refused == "");
        CHECK((seen(result.bowing.take, 3)->direction == Direction::up));
    }
}

TEST_CASE("wishes for one stroke add up when they agree, and are an error when they do not")
{
    const auto inputs = quarters(3);
    const PlayerConfig config = violin_config();
    const Piece piece{config, inputs, inputs.back().at + milliseconds(1'000)};
    const Recorder live = bow_live(piece, {}).take;
    const auto meaning = [&](std::string_view text) { return strokes_meant(wishes_of(text), live, 0); };
    for (const auto* text : {"1:2 up\nnote 1 down", "1:2 same-bow\n1:2 up", "1:2 retake\nnote 1 same-bow"}) {
        CAPTURE(text);
        const auto result = meaning(text);
        REQUIRE(std::holds_alternative<Contradiction>(result));
        CHECK(std::get<Contradiction>(result).first_line == 1);
        CHECK(std::get<Contradiction>(result).line == 2);
    }
    const auto both = meaning("1:2 up\nnote 1 retake\n1:2 up");
    REQUIRE(std::holds_alternative<Meant>(both));
    const auto& wished = std::get<Meant>(both).wished;
    REQUIRE(wished.size() == 1);
    CHECK(wished[0].note == 1);
    CHECK((wished[0].retake && wished[0].direction == Direction::up));
}

TEST_CASE("a wish is told as the reason, and is stronger than pedal, key and free alternation")
{
    auto inputs = quarters(2);
    inputs.insert(inputs.begin() + 2, command_input(at_ms(0), Command::alternate_on));
    inputs.insert(inputs.begin() + 5, command_input(at_ms(450), Command::same_bow_on)); // before the second note
    const Obeyed result = bowed_with(inputs, "1:2 up\n1:3 same-bow");
    for (const WishOutcome& o : result.outcomes) CHECK(o.refused == "");
    CHECK((seen(result.bowing.take, 1)->direction == Direction::up));
    CHECK((seen(result.bowing.take, 2)->direction == Direction::up));
    for (const Fact& f : result.bowing.take.facts())
        if (f.kind == FactKind::stroke_began && f.stroke == 1) CHECK((f.reasons[0] == Reason::up_wish));
}
