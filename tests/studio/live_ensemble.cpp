// Several players in one engine: who plays where, what is journalled for each, and the exchange of all of them while they play.
#include "live_counting.hpp"
#include "live_house.hpp"

#include "studio/kept_configuration.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <memory>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

std::string many(int players)
{
    std::string text;
    for (int i = 0; i < 4; ++i) text += "[[output]]\nname = \"out " + std::to_string(i) + "\"\n";
    for (int i = 0; i < players; ++i)
        text += "[[player]]\nname = \"player " + std::to_string(i) + "\"\ntarget = \"controller-ranges\"\noutput = \"out " +
                std::to_string(i / 16) + "\"\ntarget_channel = " + std::to_string(i % 16 + 1) + "\n";
    return text;
}

} // namespace

TEST_CASE("a quintet from a sequencer gets five arms, each on its output and channel")
{
    House house{settings_from_text(quintet)};
    const int keys[] = {76, 69, 60, 48, 36};
    for (int i = 0; i < 5; ++i) {
        house.play(10 + i, note_on(channel(i + 1), n(keys[i]), n(80)));
        house.play(700 + i, note_off(channel(i + 1), n(keys[i])));
    }
    house.run_to(2000);
    for (int i = 0; i < 5; ++i) {
        CAPTURE(i);
        CHECK(house.ons(i < 3 ? 0 : 1, i + 1) == 1);
        CHECK(house.ons(i < 3 ? 1 : 0, i + 1) == 0);
        Snapshot snapshot;
        house.lines->snapshots[static_cast<std::size_t>(i)].read(snapshot);
        CHECK(snapshot.notes == 1);
    }
    CHECK(house.left_on(0) == 0);
    CHECK(house.left_on(1) == 0);
}

TEST_CASE("who is under the hands is told, and a chosen player takes the pedal as it stands")
{
    House house{settings_from_text("[[player]]\nname = \"a\"\nunder_hands = true\ntarget_channel = 1\n"
                                   "[[player]]\nname = \"b\"\nunder_hands = true\ntarget_channel = 2\n"
                                   "[[controls.key]]\nkey = 20\ndoes = \"next player\"\n")};
    house.play(5, control_change(Channel{}, n(11), n(100)));
    house.play(10, note_on(Channel{}, n(60), n(80)));
    house.play(200, note_on(Channel{}, n(20), n(80)));
    house.play(210, note_off(Channel{}, n(20)));
    house.play(300, note_on(Channel{}, n(64), n(80)));
    house.play(600, note_off(Channel{}, n(60)));
    house.play(700, note_off(Channel{}, n(64)));
    house.run_to(2000);
    CHECK(house.lines->counts.under_hands.load() == 1);
    CHECK(house.ons(0, 1) == 1);
    CHECK(house.ons(0, 2) == 1);
    CHECK(house.left_on(0) == 0);
    Snapshot second;
    house.lines->snapshots[1].read(second);
    CHECK(second.loudness.value == doctest::Approx(100 / 127.0));
}

TEST_CASE("an output that asks for its state gets the mark and its own players' state alone")
{
    House house{settings_from_text(quintet)};
    house.lines->outs[1].wants_state.store(true);
    house.run_to(20);
    CHECK(house.sent[0].empty());
    CHECK(std::count(house.sent[1].begin(), house.sent[1].end(), bowed_mark(channel(4))) == 1);
    CHECK(std::count(house.sent[1].begin(), house.sent[1].end(), bowed_mark(channel(5))) == 1);
}

TEST_CASE("lamps show the bow of the player under the hands: direction, hair and warnings, only what changed")
{
    House house{settings_from_text("[[output]]\nname = \"sampler\"\n[[output]]\nname = \"box\"\n[player]\n[lamps]\noutput = \"box\"\n"
                                   "channel = 3\nhair_left = \"cc 20\"\ndown = \"note E2\"\nup = \"cc 21\"\nwarning = \"note F#2\"\n")};
    house.run_to(2);
    const auto first = house.sent[1];
    CHECK(first.size() == 4);
    house.play(10, note_on(Channel{}, n(60), n(80)));
    house.run_to(800);
    int low = 127, high = 0, last = -1;
    for (const Message& m : house.sent[1]) {
        CHECK(m.channel() == channel(3));
        if (m.kind() != MessageKind::control_change || m.first() != n(20)) continue;
        CHECK(m.second().get() != last);
        last = m.second().get();
        low = std::min(low, last);
        high = std::max(high, last);
    }
    CHECK(high - low > 10); // the bow runs
    CHECK(house.ons(1, 3) == 1);
    house.play(810, note_off(Channel{}, n(60)));
    house.play(1200, note_on(Channel{}, n(20), n(80))); // below the violin: a warning
    house.run_to(1500);
    CHECK(std::count(house.sent[1].begin(), house.sent[1].end(), note_on(channel(3), n(42), n(127))) == 1);
    house.play(1510, note_off(Channel{}, n(20)));
    house.play(2000, note_on(Channel{}, n(62), n(80)));
    house.play(2300, note_off(Channel{}, n(62)));
    house.run_to(3000);
    CHECK(house.left_on(1) == 0);
}

TEST_CASE("new players take over between strokes, and with silence after two seconds, and the engine frees and takes nothing")
{
    const Settings settings = settings_from_text(quintet);
    for (const bool held : {false, true}) {
        CAPTURE(held);
        House house{settings};
        house.play(10, note_on(channel(1), n(76), n(80)));
        if (!held) house.play(500, note_off(channel(1), n(76)));
        house.run_to(300);
        Ensemble* const fresh = ensemble_of(settings, *house.lines).release();
        house.lines->offered.store(fresh);
        std::size_t allocations = 0;
        for (; house.now < 4000 && house.lines->retired.load() == nullptr; house.now += 2) {
            {
                const AllocationCount count;
                house.engine.turn(at(house.now));
                allocations += count.count();
            }
            house.collect();
        }
        REQUIRE(house.lines->retired.load() != nullptr);
        CHECK(allocations == 0);
        CHECK(house.left_on(0) == 0);
        if (held) {
            CHECK(house.now >= 2300);
            CHECK(house.now <= 2320);
        } else {
            CHECK(house.now > 500);
            CHECK(house.now < 1500);
        }
        house.play(house.now + 10, note_off(channel(1), n(76)));
        house.play(house.now + 20, note_on(channel(1), n(74), n(80)));
        house.play(house.now + 320, note_off(channel(1), n(74)));
        house.run_to(house.now + 2000);
        CHECK(house.ons(0, 1) == 2);
        CHECK(house.left_on(0) == 0);
    }
}

TEST_CASE("the journal holds the first player alone, and what it sent replays alike before and behind an exchange of players")
{
    const Settings settings = settings_from_text(quintet);
    House house{settings};
    const auto both_play = [&](std::int64_t ms) {
        for (int i = 0; i < 8; ++i) {
            house.play(ms + 150 * i, note_on(channel(1), n(76 - i), n(80)));
            house.play(ms + 150 * i + 1, note_on(channel(2), n(69 - i), n(80)));
            house.play(ms + 150 * i + 120, note_off(channel(1), n(76 - i)));
            house.play(ms + 150 * i + 121, note_off(channel(2), n(69 - i)));
        }
    };
    house.play(5, control_change(channel(1), n(11), n(100)));
    both_play(10);
    house.run_to(1000); // in the middle of it
    house.lines->offered.store(ensemble_of(settings, *house.lines).release());
    house.run_to(4000);
    REQUIRE(house.lines->retired.load() != nullptr);
    both_play(4100);
    house.run_to(8000);

    Journal& journal = house.journal;
    const auto begins =
        std::find_if(journal.inputs.begin(), journal.inputs.end(), [](const Input& i) { return i.kind == InputKind::configured; });
    REQUIRE(begins != journal.inputs.end());
    CHECK(std::any_of(journal.inputs.begin(), journal.inputs.end(), [](const JournalInput& i) { return i.players == only(1); }));
    journal.new_texts.push_back({begins->at, {}});
    const TakeSpan spans[] = {{journal.inputs.front().at, std::prev(begins)->at}, {std::next(begins)->at, journal.inputs.back().at}};
    for (const TakeSpan& span : spans) {
        for (std::size_t player = 0; player < 2; ++player) {
            CAPTURE(player);
            const Replayed again = replayed(journal, span, settings.players[player].config, player);
            CHECK(again.checked > 16); // messages: a note on and off at the least for each of eight notes
            CHECK_FALSE(again.difference);
        }
    }
}

TEST_CASE("every player's part of a take is played again to the same messages, and a transposed one as it heard it")
{
    const Settings settings = settings_from_text("[[player]]\nname = \"low\"\n[[player]]\nname = \"high\"\ntranspose = 12\n"
                                                 "[[player]]\nname = \"plain\"\ninstrument = \"viola\"\n");
    House house{settings};
    for (int i = 0; i < 12; ++i) {
        house.play(10 + 200 * i, note_on(Channel{}, n(60 + i), n(80)));
        house.play(30 + 200 * i, control_change(Channel{}, n(11), n(40 + 5 * i)));
        house.play(150 + 200 * i, note_off(Channel{}, n(60 + i)));
    }
    house.run_to(4000);
    const Journal& journal = house.journal;
    const TakeSpan span{journal.inputs.front().at, journal.inputs.back().at};
    for (std::size_t player = 0; player < 3; ++player) {
        CAPTURE(player);
        const std::vector<Input> inputs = played_by(journal, span, player);
        REQUIRE(inputs.size() == 36);
        CHECK(inputs[0].data[1] == (player == 1 ? 72 : 60));
        const Replayed again = replayed(journal, span, settings.players[player].config, player);
        CHECK(again.checked > 24);
        CHECK_FALSE(again.difference);
    }
    // What all hear alike is one record.
    const auto pedals = std::count_if(journal.inputs.begin(), journal.inputs.end(),
                                      [](const JournalInput& i) { return as_message(i).kind() == MessageKind::control_change; });
    CHECK(pedals == 12);
}

TEST_CASE("a take of the first of several players knows its player again, though the song's file is gone")
{
    const studio_test::Folder folder;
    std::filesystem::create_directory_symlink(studio_test::shipped / "instruments", folder.path() / "instruments");
    std::filesystem::create_directory_symlink(studio_test::shipped / "targets", folder.path() / "targets");
    const std::string text = "version = 1\n" + std::string{quintet} + "[time]\nmap = \"gone.mid\"\n";
    const Overrides without_song{{}, {}, true};
    const Loaded first = load_configuration(folder.write("bowarm.toml", text), without_song);
    REQUIRE(std::holds_alternative<Settings>(first));
    const Loaded again = settings_of(texts_of(std::get<Settings>(first)));
    if (!std::holds_alternative<Settings>(again)) FAIL(studio_test::lines(studio_test::problems_of(again)));
    const PlayerConfig &then = std::get<Settings>(first).player, &now = std::get<Settings>(again).player;
    CHECK(now.name == then.name);
    CHECK(now.instrument.name == then.instrument.name);
    CHECK(now.target.channel == then.target.channel);
    CHECK(std::holds_alternative<std::vector<Problem>>(load_configuration(folder.path() / "bowarm.toml", {})));
}

TEST_CASE("sixty-four players sound at once, nothing hangs and nothing is taken from the heap")
{
    House house{settings_from_text(many(64))};
    house.run_to(2);
    std::size_t allocations = 0;
    const auto run_to = [&](std::int64_t ms) {
        for (; house.now < ms; ++house.now) {
            {
                const AllocationCount count;
                house.engine.turn(at(house.now));
                allocations += count.count();
            }
            house.collect();
        }
    };
    house.play(10, note_on(Channel{}, n(67), n(80)));
    run_to(500);
    house.play(510, note_off(Channel{}, n(67)));
    run_to(1500);
    CHECK(allocations == 0);
    for (std::size_t output = 0; output < 4; ++output) {
        CHECK(std::count_if(house.sent[output].begin(), house.sent[output].end(),
                            [](const Message& m) { return m.is_note_on() && m.first().get() == 67; }) == 16);
        CHECK(house.left_on(output) == 0);
    }
}
