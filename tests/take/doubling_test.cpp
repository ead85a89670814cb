// Players who double each other are bowed alike: the section follows its leader, and principals agree (common practice, no source).
#include "take/understood.hpp"

#include "player/random_playing.hpp"
#include "studio/configuration.hpp"
#include "take/take.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cstdlib>
#include <span>
#include <string>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

struct Note {
    int length_ms; // up to the next key
    int pitch;
    int rest_ms{0}; // of it
    bool slurred_to_next{false};
};

// 4/4 at 120, every key moved by up to `loose_ms` either way.
std::vector<Input> played(std::span<const Note> notes, int down_by, int loose_ms = 0, std::uint64_t seed = 1)
{
    Dice dice(seed);
    std::vector<Input> inputs{tempo_input(at_ms(0), 500'000), meter_input(at_ms(0), 4, 2)};
    std::int64_t at = 100;
    for (const Note& note : notes) {
        const std::int64_t moved = loose_ms == 0 ? 0 : dice.below(2 * loose_ms + 1) - loose_ms;
        const std::int64_t held = note.slurred_to_next ? note.length_ms + 40 : (note.length_ms - note.rest_ms) * 9 / 10;
        const auto pitch = Midi7::nearest(note.pitch - down_by);
        inputs.push_back(midi_input(at_ms(at + moved), Source{0}, note_on(Channel{}, pitch, Midi7::nearest(74))));
        inputs.push_back(midi_input(at_ms(at + moved + held), Source{0}, note_off(Channel{}, pitch)));
        at += note.length_ms;
    }
    std::stable_sort(inputs.begin(), inputs.end(), [](const Input& a, const Input& b) { return a.at < b.at; });
    return inputs;
}

std::vector<Note> tune()
{
    return {{500, 74}, {250, 76}, {250, 78}, {500, 79, 0, true}, {500, 81}, {750, 83}, {250, 81}, {500, 79},      {500, 78},
            {500, 76}, {250, 78}, {250, 79}, {500, 81, 0, true}, {500, 83}, {750, 84}, {250, 83}, {500, 81, 200}, {1'000, 79}};
}

struct Voice {
    PlayerConfig config;
    std::vector<Input> inputs;

    Piece piece() const { return {config, inputs, inputs.back().at + milliseconds(2'000)}; }
    Recorder bowed(Hindsight& hindsight, std::span<const OthersBowing> others = {}, const std::vector<WishedStroke>& wishes = {}) const
    {
        return bow_as_understood(piece(), bow_live(piece(), wishes).take, wishes, hindsight, others).take;
    }
    Recorder bowed(std::span<const OthersBowing> others = {}, const std::vector<WishedStroke>& wishes = {}) const
    {
        Hindsight unused;
        return bowed(unused, others, wishes);
    }
};

PlayerConfig packaged(const std::string& instrument)
{
    ::setenv("BOWARM_DATA", BOWARM_SOURCE_DIR "/config", 1);
    const Loaded loaded = load_configuration(BOWARM_SOURCE_DIR "/config/bowarm.toml", {instrument, {}});
    REQUIRE(std::holds_alternative<Settings>(loaded));
    return std::get<Settings>(loaded).player;
}

Decision stroke(std::int64_t ms, Direction direction, bool rested = false, bool shaken = false)
{
    Decision d;
    d.at = at_ms(ms);
    d.direction = direction;
    d.needs.gap = Seconds{rested ? 0.5 : 0.02};
    d.needs.lift_after = Seconds{0.25};
    d.needs.stays = shaken;
    return d;
}

std::string doubled(std::vector<Decision> own, const std::vector<Decision>& other, Duration later = {0})
{
    const OthersBowing others[] = {bowing_to_follow(other, {0})};
    bow_doubled_alike(own, {others, later});
    std::string text;
    for (const Decision& d : own) text += !d.needs.doubled ? '-' : *d.needs.doubled == Direction::down ? 'd' : 'u';
    return text;
}

std::size_t unlike(const Recorder& bowed, std::span<const OthersBowing> others)
{
    const Alike found = alike_in(bowed.decisions(), {others, {0}});
    return found.doubled - found.alike;
}

// Strokes of many lengths with rests, in bars of 4/4: the same for both players where `seed` is the same.
std::vector<Note> random_notes(std::uint64_t seed, int count)
{
    Dice dice(seed);
    constexpr int lengths[] = {125, 250, 250, 500, 500, 750, 1'000, 2'000};
    std::vector<Note> notes;
    for (int i = 0; i < count; ++i) {
        const int rest = dice.one_in(8) ? 250 * (1 + dice.below(3)) : 0;
        notes.push_back({lengths[dice.below(std::size(lengths))] + rest, 69 + dice.below(15), rest, rest == 0 && dice.one_in(5)});
    }
    return notes;
}

} // namespace

TEST_CASE("three strokes and more that begin together with another's are doubled, and follow the first of the others")
{
    constexpr auto d = Direction::down, u = Direction::up;
    const std::vector<Decision> other{stroke(0, u), stroke(500, u), stroke(1'000, d), stroke(1'500, u), stroke(2'000, d)};
    CHECK(doubled({stroke(10, d), stroke(490, u), stroke(1'030, d), stroke(1'480, d), stroke(2'000, d)}, other) == "uudud");
    CHECK(doubled({stroke(0, d), stroke(500, u), stroke(1'031, d), stroke(1'500, d), stroke(2'000, d)}, other) == "-----"); // 2 and 2
    CHECK(doubled({stroke(0, d), stroke(500, u), stroke(1'000, d)}, other) == "uud");
    CHECK(doubled({stroke(1'000, d), stroke(1'500, u), stroke(2'000, d)}, other) == "dud");
    CHECK(doubled({stroke(0, d), stroke(1'000, u), stroke(2'000, d)}, other) == "---"); // the other's lie between
    CHECK(doubled({stroke(0, d), stroke(500, u), stroke(750, d), stroke(1'000, u), stroke(1'500, d), stroke(2'000, u)}, other) == "---dud");
    // After a rest, and tied to the stroke before: not the same.
    CHECK(doubled({stroke(0, d), stroke(500, u), stroke(1'000, d, true), stroke(1'500, d), stroke(2'000, d)}, other) == "--dud");
    // Who enters late follows from there on.
    CHECK(doubled({stroke(1'000, d, true), stroke(1'500, d), stroke(2'000, d)}, other) == "dud");
    CHECK(doubled({stroke(0, d), stroke(500, u), stroke(1'000, d, false, true), stroke(1'500, d), stroke(2'000, d)}, other) == "-----");
    // A player who acts later than the person plays.
    CHECK(doubled({stroke(200, d), stroke(700, u), stroke(1'200, d)}, other, milliseconds(200)) == "uud");
}

TEST_CASE("of several others the first is followed, the second where the first is silent")
{
    constexpr auto d = Direction::down, u = Direction::up;
    std::vector<Decision> own;
    for (int i = 0; i < 6; ++i) own.push_back(stroke(i * 500, d));
    const OthersBowing others[] = {
        bowing_to_follow({stroke(0, u), stroke(500, d), stroke(1'000, u)}, {0}),
        bowing_to_follow({stroke(0, d), stroke(500, d), stroke(1'000, d), stroke(1'500, u), stroke(2'000, u), stroke(2'500, u)}, {0})};
    bow_doubled_alike(own, {others, {0}});
    std::string text;
    for (const Decision& one : own) text += *one.needs.doubled == Direction::down ? 'd' : 'u';
    CHECK(text == "uduuuu");
}

TEST_CASE("two voices in octaves are bowed alike, though the second comes from a passage of its own and hands are loose")
{
    const PlayerConfig config = violin_config();
    const std::vector<Note> together = tune();
    // The first voice rests for two bars, the second plays there: three, four, five strokes, so that it arrives either way.
    int once_unlike = 0;
    for (int own = 3; own <= 8; ++own) {
        CAPTURE(own);
        std::vector<Note> first{{4'000, 74, 3'500}}, second;
        for (int i = 0; i < own; ++i) second.push_back({i + 1 < own ? 250 : 4'000 - 250 * (own - 1), 83 - i});
        first.insert(first.end(), together.begin(), together.end());
        second.insert(second.end(), together.begin(), together.end());
        const Voice one{config, played(first, 0, 10, 1)}, two{config, played(second, 12, 10, 2)};
        const std::vector<OthersBowing> others = bowings_to_follow(config, one.bowed());
        Hindsight h;
        const Recorder follows = two.bowed(h, others);
        CHECK(h.doubled >= 14);
        CHECK(h.alike == h.doubled);
        CHECK(unlike(follows, others) == 0);
        once_unlike += unlike(two.bowed(), others) > 0 || h.live_alike < h.doubled;
        // The passage of its own is nobody's double.
        const auto known = alike_in({follows.decisions().begin(), follows.decisions().begin() + own}, {others, {0}});
        CHECK(known.doubled <= 1);
    }
    CHECK(once_unlike > 0);
}

TEST_CASE("a follower tells why it goes that way")
{
    // After a rest both ways cost about the same; the other begins up, by a wish.
    const PlayerConfig config = violin_config();
    std::vector<Note> notes;
    for (int phrase = 0; phrase < 4; ++phrase)
        for (int i = 0; i < 4; ++i) notes.push_back({i < 3 ? 500 : 1'500, 72 + i, i < 3 ? 0 : 1'000});
    const Voice one{config, played(notes, 0)}, two{config, played(notes, 12)};
    std::vector<WishedStroke> wishes;
    for (std::uint32_t note = 0; note < 16; note += 4) wishes.push_back({note, Direction::up, false, false});
    const std::vector<OthersBowing> others = bowings_to_follow(config, one.bowed({}, wishes));
    const Recorder alone = two.bowed(), follows = two.bowed(others);
    CHECK(unlike(alone, others) >= 8);
    CHECK(unlike(follows, others) == 0);
    const std::string report = report_json(follows, {"violin", "everything", "hindsight", {}});
    CHECK(report.find("another player, who doubles it, bows it so") != std::string::npos);
}

TEST_CASE("a wish is stronger than the other player, and around it the follower goes along again")
{
    const PlayerConfig config = violin_config();
    const Voice one{config, played(tune(), 0)}, two{config, played(tune(), 12)};
    const Recorder first = one.bowed();
    const std::vector<OthersBowing> others = bowings_to_follow(config, first);
    for (const Decision& d : first.decisions()) {
        CAPTURE(d.note);
        const Recorder follows = two.bowed(others, {{d.note, opposite(d.direction), false, false}});
        const auto wished =
            std::find_if(follows.decisions().begin(), follows.decisions().end(), [&](const Decision& x) { return x.note == d.note; });
        REQUIRE(wished != follows.decisions().end());
        CHECK((wished->direction == opposite(d.direction)));
        CHECK(unlike(follows, others) >= 1);
        CHECK(unlike(follows, others) <= 3);
    }
}

TEST_CASE("a bass with less hair follows a violin, and departs only where its own hair runs short")
{
    // Hair and speeds as in config/instruments/double-bass.toml, which has the sources: 9 s at most in one soft bow, about 2 s at mezzo
    // forte.
    const PlayerConfig violin_player = packaged("violin"), bass_player = packaged("double-bass");
    std::size_t doubled = 0, unlike_alone = 0, unlike_following = 0, unforced = 0;
    for (std::uint64_t seed = 1; seed <= 60; ++seed) {
        CAPTURE(seed);
        const std::vector<Note> notes = random_notes(seed, 40);
        const Voice one{violin_player, played(notes, 0)}, two{bass_player, played(notes, 36)};
        const std::vector<OthersBowing> others = bowings_to_follow(violin_player, one.bowed());
        Hindsight h;
        const Recorder follows = two.bowed(h, others);
        doubled += h.doubled;
        unlike_following += h.doubled - h.alike;
        unlike_alone += unlike(two.bowed(), others);
        // At a departure, or at the stroke after it, the leader's way would not have had the hair that the stroke likes.
        std::vector<Decision> known = follows.decisions();
        bow_doubled_alike(known, {others, {0}});
        for (std::size_t i = 0; i < known.size(); ++i) {
            if (!known[i].needs.doubled || known[i].needs.doubled == known[i].direction) continue;
            bool forced = false;
            for (std::size_t k = i > 2 ? i - 3 : 0; k < std::min(i + 4, known.size()); ++k) {
                const ChoiceNeeds& n = known[k].needs;
                const double seconds = k + 1 < known.size() ? to_seconds(known[k + 1].at - known[k].at).value : 1;
                const Direction way = known[k].needs.doubled.value_or(known[k].direction);
                const HairFraction room = way == Direction::down ? HairFraction{1} - n.place : n.place;
                forced = forced || room.value < n.speed.value * seconds / bass_player.instrument.hair.value;
            }
            unforced += !forced;
        }
    }
    CHECK(doubled > 1'000);
    CHECK(unlike_alone > 2 * unlike_following);
    CHECK(unforced == 0);
}

TEST_CASE("who follows is never dearer than live on the same table, obeys, and does the same each time")
{
    const PlayerConfig config = violin_config();
    int cheaper = 0, obeyed = 0;
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        CAPTURE(seed);
        Dice dice(seed + 7);
        const std::vector<Note> notes = random_notes(seed, 40);
        std::vector<Note> second = notes;
        for (Note& note : second)
            if (dice.one_in(10)) note.pitch += 1;
        second.insert(second.begin() + dice.below(20), {250, 80}); // from there on nothing is together any more
        const Voice one{config, played(notes, 0, 8, seed)}, two{config, played(second, 12, 8, seed + 1)};
        const std::vector<OthersBowing> others = bowings_to_follow(config, one.bowed());
        std::vector<WishedStroke> wishes;
        const Recorder live_alone = bow_live(two.piece(), {}).take;
        for (const Decision& d : live_alone.decisions())
            if (dice.one_in(12)) wishes.push_back({d.note, dice.one_in(2) ? Direction::down : Direction::up, false, false});
        const Recorder live = bow_live(two.piece(), wishes).take;
        Hindsight h, again;
        const Recorder follows = bow_with_hindsight(two.piece(), live, wishes, std::nullopt, h, others).take;
        CHECK(h.cost <= h.live_cost);
        CHECK(*cost_as_bowed(config.instrument, live, live, {others, {0}}) == doctest::Approx(h.live_cost));
        CHECK(*cost_as_bowed(config.instrument, live, follows, {others, {0}}) == doctest::Approx(h.cost));
        cheaper += !h.live_kept;
        for (const WishedStroke& wish : wishes)
            for (const Decision& d : follows.decisions())
                if (d.note == wish.note && d.direction == *wish.direction) ++obeyed;
        const Recorder twice = bow_with_hindsight(two.piece(), live, wishes, std::nullopt, again, others).take;
        CHECK(sent_as_midi_file(twice) == sent_as_midi_file(follows));
    }
    CHECK(cheaper > 200);
    CHECK(obeyed > 500);
}

TEST_CASE("desks that move in the same rhythm are bowed alike, though they come from passages of their own")
{
    PlayerConfig config = violin_config();
    config.desks = 2;
    std::size_t doubled = 0, alike = 0, alike_live = 0;
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        CAPTURE(seed);
        constexpr int beginning_ms = 16'000;
        const auto with_a_passage_of_its_own = [&](std::uint64_t own) {
            std::vector<Note> notes = random_notes(own, 8);
            int length = 0;
            for (const Note& note : notes) length += note.length_ms;
            REQUIRE(length < beginning_ms);
            notes.back() = {notes.back().length_ms + beginning_ms - length, notes.back().pitch, beginning_ms - length + 100};
            const std::vector<Note> common = random_notes(seed, 24);
            notes.insert(notes.end(), common.begin(), common.end());
            return notes;
        };
        std::vector<Input> inputs = played(with_a_passage_of_its_own(1'000 + seed), 0);
        for (const Input& low : played(with_a_passage_of_its_own(2'000 + seed), 14))
            if (low.kind == InputKind::midi) inputs.push_back(low);
        std::stable_sort(inputs.begin(), inputs.end(), [](const Input& a, const Input& b) { return a.at < b.at; });
        const Voice both{config, inputs};
        Hindsight h;
        both.bowed(h);
        CHECK(h.cost <= h.live_cost);
        doubled += h.doubled;
        alike += h.alike;
        alike_live += h.live_alike;
    }
    CHECK(doubled > 500);
    CHECK(doubled - alike < doubled / 50);
    CHECK(doubled - alike_live > doubled / 20);
}
