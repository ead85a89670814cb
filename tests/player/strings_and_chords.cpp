// Strings, broken chords, notes that cannot be played together, and the person's vibrato, as a player hears them.
#include "player/scene.hpp"

#include <algorithm>
#include <doctest/doctest.h>
#include <map>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

struct Heard {
    std::int64_t from{-1};
    std::int64_t to{-1};
};
// When each key sounded, in milliseconds; of keys above the switches.
std::map<int, Heard> heard(const Memory& memory)
{
    std::map<int, Heard> keys;
    for (const Sent& s : memory.sent) {
        const int key = s.message.first().get();
        if (key < 30) continue;
        if (s.message.is_note_on()) keys[key].from = s.at.ns / 1'000'000;
        if (s.message.is_note_off()) keys[key].to = s.at.ns / 1'000'000;
    }
    return keys;
}

std::vector<Unplayable> reasons(const Memory& memory)
{
    std::vector<Unplayable> all;
    for (const Fact& f : memory.of(FactKind::warning))
        if (f.warning == Warning::not_playable_together) all.push_back(f.unplayable);
    return all;
}

void chord(Scene& s, int at, const std::vector<int>& keys, int length)
{
    for (const int key : keys) s.hands.down(at, key);
    for (const int key : keys) s.hands.up(at + length, key);
}

} // namespace

// I. Galamian, Principles of Violin Playing and Teaching, 1962 (from memory): broken two and two, the upper pair stays.
TEST_CASE("a held chord of four notes is broken: the lower two, then the upper two, which stay, all in one stroke")
{
    Scene s;
    chord(s, 0, {55, 62, 71, 79}, 900);
    s.hands.until(3'000);
    auto keys = heard(s.memory);
    for (const int lower : {55, 62}) {
        CHECK(keys[lower].from == 0);
        CHECK(keys[lower].to == 80);
    }
    for (const int upper : {71, 79}) {
        CHECK(keys[upper].from == 80);
        CHECK(keys[upper].to == 900);
    }
    CHECK(s.memory.of(FactKind::stroke_began).size() >= 1);
    for (const Fact& f : s.memory.of(FactKind::note_began)) CHECK(f.stroke == 0);
    CHECK(reasons(s.memory).empty());
    const auto began = s.memory.of(FactKind::note_began);
    REQUIRE(began.size() == 4);
    for (std::size_t i = 0; i < 4; ++i) CHECK(began[i].string == i);
}

TEST_CASE("of three notes the middle one sounds through the break")
{
    Scene s;
    chord(s, 0, {55, 64, 72}, 900);
    s.hands.until(3'000);
    auto keys = heard(s.memory);
    CHECK(keys[55].to == 80);
    CHECK(keys[64].from == 0);
    CHECK(keys[64].to == 900);
    CHECK(keys[72].from == 80);
    CHECK(keys[72].to == 900);
}

TEST_CASE("whatever order the fingers fall in, the first key sounds at once and the two highest are what stays")
{
    std::vector<int> order{55, 62, 71, 79};
    do {
        Scene s;
        for (std::size_t i = 0; i < order.size(); ++i) s.hands.down(static_cast<int>(i) * 5, order[i]);
        CAPTURE(order[0]);
        CHECK(heard(s.memory)[order[0]].from == 0);
        s.hands.until(500);
        auto keys = heard(s.memory);
        CHECK(keys.size() == 4);
        for (const int lower : {55, 62}) CHECK(keys[lower].to == 80);
        for (const int upper : {71, 79}) CHECK(keys[upper].to == -1);
    } while (std::next_permutation(order.begin(), order.end()));
}

TEST_CASE("keys that come up before the break shorten no chord to nothing, and nothing hangs")
{
    Scene s;
    chord(s, 0, {55, 62, 71, 79}, 50);
    s.hands.until(3'000);
    auto keys = heard(s.memory);
    for (const int lower : {55, 62}) CHECK(keys[lower].to == 50);
    for (const int upper : {71, 79}) {
        CHECK(keys[upper].from == 50);
        CHECK(keys[upper].to == 130);
    }
    CHECK((s.player.next_wake() == Time::never()));
}

TEST_CASE("the keys of a broken chord come up in any order without a note coming back")
{
    std::vector<int> order{55, 62, 71, 79};
    do {
        Scene s;
        for (const int key : {55, 62, 71, 79}) s.hands.down(0, key);
        for (std::size_t i = 0; i < order.size(); ++i) s.hands.up(600 + static_cast<int>(i) * 15, order[i]);
        s.hands.until(3'000);
        CHECK(s.memory.of(FactKind::note_began).size() == 4);
        CHECK(s.memory.of(FactKind::note_ended).size() == 4);
    } while (std::next_permutation(order.begin(), order.end()));
}

TEST_CASE("short chords, a section, and chord_break 0 sound all at once")
{
    for (int way = 0; way < 3; ++way) {
        CAPTURE(way);
        PlayerConfig config = violin_config();
        if (way == 1) config.target.section = true;
        if (way == 2) config.chord_break = Seconds{0};
        Scene s{config};
        if (way == 0) s.hands.note(0, 14, 5); // staccato
        chord(s, 100, {55, 62, 71, 79}, 90);
        s.hands.until(3'000);
        auto keys = heard(s.memory);
        for (const int key : {55, 62, 71, 79}) {
            CHECK(keys[key].from == 100);
            CHECK(keys[key].to == 190);
        }
    }
}

TEST_CASE("what cannot be played together sounds all the same, and the reason is told once")
{
    struct Row {
        const char* why;
        std::vector<int> keys;
        Unplayable expected;
    };
    // Geometry of the tuning; see tests/studio/chords_test.cpp.
    const Row rows[] = {
        {"a close triad", {60, 64, 67}, Unplayable::same_string},
        {"the outer strings", {57, 83}, Unplayable::strings_apart},
        {"a tenth in the first position", {57, 73}, Unplayable::too_wide},
        {"five notes", {55, 62, 69, 76, 83}, Unplayable::too_many_notes},
    };
    for (const Row& row : rows) {
        CAPTURE(row.why);
        Scene s;
        chord(s, 0, row.keys, 700);
        s.hands.until(3'000);
        CHECK(heard(s.memory).size() == row.keys.size());
        const auto told = reasons(s.memory);
        REQUIRE(told.size() == 1);
        CHECK((told[0] == row.expected));
    }
    Scene fine;
    chord(fine, 0, {55, 64, 72, 79}, 700);
    fine.hands.until(3'000);
    CHECK(reasons(fine.memory).empty());
}

TEST_CASE("sul G: while the control is held every note that the string has is played on it")
{
    PlayerConfig config = violin_config();
    config.controls.keys[25] = {ActionKind::string, {}, {}, {0, 7}}; // "string G"
    config.controls.keys[26] = {ActionKind::string, {}, {}, {4, 0}}; // "string 4", the same one
    for (const int control : {25, 26}) {
        Scene s{config};
        s.hands.note(0, 69, 300);
        s.hands.down(400, control);
        s.hands.note(500, 69, 300);
        s.hands.note(1'000, 74, 300);
        s.hands.up(1'400, control);
        s.hands.note(3'500, 81, 300);
        s.hands.until(5'000);
        const auto notes = s.memory.of(FactKind::note_began);
        REQUIRE(notes.size() == 4);
        CHECK(notes[0].string != 0);
        CHECK(notes[1].string == 0);
        CHECK(notes[1].stopped == 14);
        CHECK(notes[1].position == 5); // the least shift: the fourth finger on the ninth
        CHECK(notes[2].string == 0);
        CHECK(notes[3].string != 0);
    }
}

TEST_CASE("a sustained note is rather stopped, a short one may ring open, and the wish for open strings stands above that")
{
    const auto last_string = [](int interval, bool free) {
        PlayerConfig config = violin_config();
        config.controls.keys[25] = {ActionKind::open_strings, {}, {}, {}};
        Scene s{config};
        s.hands.note(0, 12, 5); // detache
        if (free) s.hands.down(10, 25);
        int at = 100;
        for (const int pitch : {71, 72, 71, 72, 71, 69}) {
            s.hands.note(at, pitch, interval - 30);
            at += interval;
        }
        s.hands.until(at + 1'000);
        return s.memory.of(FactKind::note_began).back();
    };
    CHECK(last_string(800, false).stopped == 7);
    CHECK(last_string(800, false).string == 1);
    CHECK(last_string(800, true).stopped == 0);
    CHECK(last_string(150, false).stopped == 0);
}

TEST_CASE("notes the instrument does not have are passed on, dropped, or moved by octaves, and told of in each case")
{
    struct Row {
        OutOfRange rule;
        std::vector<int> sounding;
    };
    const Row rows[] = {{OutOfRange::pass, {48, 103}}, {OutOfRange::drop, {}}, {OutOfRange::octave, {60, 91}}};
    for (const Row& row : rows) {
        PlayerConfig config = violin_config();
        config.out_of_range = row.rule;
        Scene s{config};
        s.hands.note(0, 12, 5); // detache
        s.hands.note(100, 48, 300);
        s.hands.note(1'000, 103, 300);
        s.hands.until(3'000);
        std::vector<int> keys;
        for (const Message& m : s.memory.note_ons())
            if (m.first().get() > 30) keys.push_back(m.first().get());
        CHECK(keys == row.sounding);
        CHECK(std::count_if(s.memory.facts.begin(), s.memory.facts.end(),
                            [](const Fact& f) { return f.warning == Warning::out_of_range; }) == 2);
    }
    CHECK((PlayerConfig{}.out_of_range == OutOfRange::pass));
}

TEST_CASE("the person's vibrato goes through untouched, unless it is to be shaped: then each bowed note begins without it")
{
    const auto values = [](const Memory& memory) {
        std::vector<Sent> found;
        for (const Sent& s : memory.sent)
            if (s.message.kind() == MessageKind::control_change && s.message.first().get() == 1) found.push_back(s);
        return found;
    };
    Scene plain;
    plain.hands.controller(0, 1, 90);
    plain.hands.note(500, 69, 1'000);
    plain.hands.until(3'000);
    REQUIRE(values(plain.memory).size() == 1);
    CHECK(values(plain.memory)[0].message.second().get() == 90);

    PlayerConfig config = violin_config();
    config.vibrato.controller = Midi7::nearest(1);
    config.vibrato.onset_delay = Seconds{0.2};
    config.vibrato.onset_rise = Seconds{0.3};
    Scene shaped{config};
    shaped.hands.controller(0, 1, 90);
    shaped.hands.note(500, 69, 1'000);
    shaped.hands.down(1'600, 71);
    shaped.hands.until(2'500);
    shaped.hands.down(2'500, 72); // slurred: it goes on
    shaped.hands.until(2'600);
    const auto sent = values(shaped.memory);
    const auto at = [&](std::int64_t ms) {
        int value = -1;
        for (const Sent& s : sent)
            if (s.at <= at_ms(ms)) value = s.message.second().get();
        return value;
    };
    CHECK(at(100) == 90);
    CHECK(at(500) == 0);
    CHECK(at(690) == 0);
    CHECK(at(850) > 20);
    CHECK(at(850) < 80);
    CHECK(at(1'010) == 90);
    CHECK(at(1'600) == 0);
    CHECK(at(2'500) == 90);
    CHECK(at(2'600) == 90);
    // It stands before the note that it belongs to.
    std::size_t first_note = 0;
    std::size_t first_zero = 0;
    for (std::size_t i = 0; i < shaped.memory.sent.size(); ++i) {
        const Message& m = shaped.memory.sent[i].message;
        if (first_note == 0 && m.is_note_on() && m.first().get() == 69) first_note = i;
        if (first_zero == 0 && m == control_change(Channel{}, Midi7::nearest(1), Midi7::nearest(0))) first_zero = i;
    }
    CHECK(first_zero < first_note);
}
