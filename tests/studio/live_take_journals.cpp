// A take and its journal: when each begins and ends, what both have in them, and the take that is heard again.
#include "folder.hpp"
#include "live_writers.hpp"
#include "soon.hpp"

#include "studio/left_over.hpp"
#include "studio/take_folder.hpp"
#include "take/replayed.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <filesystem>
#include <memory>

using namespace bowarm;
using namespace bowarm::test;
namespace fs = std::filesystem;

TEST_CASE("threads: a finished take has its journal, and the next one begins with the player's past")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    {
        TakeWriter writer{wish_for(folder.path), *lines};
        push_notes(*lines, 0, 10);
        REQUIRE(soon([&] { return ending_with(folder.path, "take-", ".journal").size() == 1; }));
        push_notes(*lines, 100, 7);
        REQUIRE(soon([&] { return ending_with(folder.path, "take-", ".journal").size() == 2; }));
        CHECK(writer.finish());
    }
    CHECK(ending_with(folder.path, "open-", ".journal").empty());
    const auto takes = takes_in(folder.path);
    REQUIRE(takes.size() == 2);
    const Journal second = journal_in(files_named(folder.path, takes[1].stem).journal);
    CHECK(note_ons(second.inputs) == 17);
    REQUIRE(second.end);
    CHECK(second.end->first == Time{10'000'000'000});
    CHECK(second.end->last == Time{10'650'000'000});
    CHECK(second.head->past_until == Time{950'000'000});
}

TEST_CASE("threads: what a crash left behind is a finished take after the next start, and only once")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    {
        JournalWriter cut_off{folder.path, head_of_violin(), *lines};
        push_notes(*lines, 0, 15);
    }
    {
        const auto fresh = std::make_unique<Lines>();
        TakeWish wish = wish_for(folder.path);
        wish.left_over = gather_left_over(folder.path, milliseconds(20'000));
        CHECK(wish.left_over.size() == 1);
        TakeWriter writer{std::move(wish), *fresh};
        REQUIRE(soon([&] { return takes_in(folder.path).size() == 1; }));
        CHECK(writer.finish());
    }
    const auto takes = takes_in(folder.path);
    REQUIRE(takes.size() == 1);
    const TakeFiles files = files_named(folder.path, takes[0].stem);
    for (const fs::path& path : {files.sent, files.played, files.report, files.journal}) {
        CHECK(fs::exists(path));
        CHECK((fs::status(path).permissions() & fs::perms::all) == (fs::perms::owner_read | fs::perms::owner_write));
    }
    CHECK(note_ons(journal_in(files.journal).inputs) == 15);
    CHECK(gather_left_over(folder.path, milliseconds(20'000)).empty());
}

TEST_CASE("threads: a new configuration ends the take, and the next journal has its texts")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    TakeWriter writer{wish_for(folder.path, Seconds{20}), *lines};
    push_notes(*lines, 0, 4);
    ConfigurationTexts texts = head_of_violin().texts;
    texts.configuration.content += "# newer\n";
    writer.configured({packaged_violin()}, texts, Seconds{20}, {});
    const Input news{Time{5'000'000'000}, source_service, InputKind::configured, {}};
    lines->take.push(news);
    lines->journal.push(news);
    push_notes(*lines, 60, 3);
    CHECK(writer.finish());
    const auto takes = takes_in(folder.path);
    REQUIRE(takes.size() == 2);
    const Journal second = journal_in(files_named(folder.path, takes[1].stem).journal);
    REQUIRE(second.end);
    CHECK(texts_for(second, *second.end).configuration.content.ends_with("# newer\n"));
    CHECK(piece_of(second, *second.end, packaged_violin()).past.empty()); // its player was new
}

TEST_CASE("threads: each lap of a cycle is a take, the pedal keeps the one that runs, and a take begun by hand outlasts silence")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    TakeWish wish = wish_for(folder.path, Seconds{20});
    wish.quota.takes_at_most = 2;
    TakeWriter writer{std::move(wish), *lines};
    const auto both = [&](const Input& input) {
        lines->take.push(input);
        lines->journal.push(input);
    };
    const auto locate = [&](std::int64_t ms) { both(midi_input(Time{ms * 1'000'000}, {0}, {{0xF2, 0, 0}, 3})); };
    const auto clocks = [&](std::int64_t ms) {
        both(midi_input(Time{ms * 1'000'000}, {0}, {{0xFB, 0, 0}, 1}));
        for (int i = 0; i < 24; ++i) both(midi_input(Time{ms * 1'000'000}, {0}, {{0xF8, 0, 0}, 1}));
    };
    for (int lap = 0; lap < 4; ++lap) {
        locate(1000 * lap);
        clocks(1000 * lap);
        push_notes(*lines, 10 * lap, 3 + lap);
        if (lap == 1) both(command_input(Time{(1000 * lap + 900) * 1'000'000LL}, Command::keep_take));
    }
    both(command_input(Time{5'000'000'000}, Command::take_end));
    CHECK(soon([&] { return takes_in(folder.path).size() == 2 && !writer.state().running; }));
    const auto kept = takes_in(folder.path);
    REQUIRE(kept.size() == 2); // of four, the one that was marked and the newest
    CHECK(kept[0].kept);
    std::vector<std::size_t> notes;
    for (const KeptTake& take : kept) {
        const Journal journal = journal_in(files_named(folder.path, take.stem).journal);
        const Piece piece = piece_of(journal, *journal.end, packaged_violin());
        notes.push_back(note_ons(piece.inputs));
    }
    CHECK(notes == std::vector<std::size_t>{4, 6});
    CHECK(writer.finish());
}

TEST_CASE("threads: the key that ends a take is no take of its own, at the next start neither")
{
    const Folder folder;
    TakeWish wish = wish_for(folder.path, Seconds{20});
    wish.players.front().controls.keys[24].kind = ActionKind::take;
    const auto lines = std::make_unique<Lines>();
    const auto press = [&](std::int64_t ms) {
        for (const Input& input : {key(ms, 24, true), key(ms + 20, 24, false)}) {
            lines->take.push(input);
            lines->journal.push(input);
        }
    };
    {
        TakeWriter writer{std::move(wish), *lines};
        press(0);
        push_notes(*lines, 1, 4);
        press(1000);
        REQUIRE(soon([&] { return !writer.state().last_stem.empty() && !writer.state().running; }));
        REQUIRE(takes_in(folder.path).size() == 1);
        CHECK(writer.state().last_stem == takes_in(folder.path)[0].stem);
        CHECK(writer.finish());
    }
    CHECK(ending_with(folder.path, "open-", ".journal").empty());
    CHECK(takes_in(folder.path).size() == 1);
}

namespace
{

// A violin and a second one that is called otherwise.
std::vector<PlayerConfig> two_violins()
{
    std::vector<PlayerConfig> players(2, packaged_violin());
    players[0].name = {'o', 'n', 'e'};
    players[1].name = {'t', 'w', 'o'};
    return players;
}

void push_for(Lines& lines, const Input& input, PlayerSet players)
{
    lines.take.push(input, players);
    lines.journal.push(input, players);
}

} // namespace

TEST_CASE("threads: a take of two players has both in its files, and one that only the second plays is a take, too")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    TakeWish wish = wish_for(folder.path);
    wish.players = two_violins();
    TakeWriter writer{std::move(wish), *lines};
    push_for(*lines, key(100, 60, true), only(1));
    push_for(*lines, key(200, 60, false), only(1));
    REQUIRE(soon([&] { return takes_in(folder.path).size() == 1 && takes_in(folder.path)[0].has_journal; }));
    push_for(*lines, key(1100, 62, true), only(0) | only(1));
    push_for(*lines, key(1200, 62, false), only(0) | only(1));
    push_for(*lines, key(1300, 64, true), only(0));
    push_for(*lines, key(1400, 64, false), only(0));
    REQUIRE(soon([&] { return takes_in(folder.path).size() == 2 && takes_in(folder.path)[1].has_journal; }));
    CHECK(writer.finish());
    const TakeFiles files = files_named(folder.path, takes_in(folder.path)[1].stem);
    const FileRead read = read_standard_file(bytes_of_file(files.played));
    REQUIRE(std::holds_alternative<StandardFile>(read));
    const auto& file = std::get<StandardFile>(read);
    CHECK(file.track_names == std::vector<std::string>{"tempo and meter", "one", "two"});
    std::vector<int> note_ons_of(3, 0);
    for (const FileEvent& event : file.events)
        if (const Message* message = event.message(); message != nullptr && message->is_note_on()) ++note_ons_of[event.track];
    CHECK(note_ons_of == std::vector<int>{0, 2, 1});
    const Journal journal = journal_in(files.journal);
    CHECK(played_by(journal, *journal.end, 0).size() == 4);
    CHECK(played_by(journal, *journal.end, 1).size() == 2);
}

TEST_CASE("threads: the last take is handed to the engine twice, the arm off, then on, and the key that stops it begins it no more")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    lines->clock.start();
    TakeWish wish = wish_for(folder.path, Seconds{20});
    wish.players = two_violins();
    wish.players.front().controls.keys[25].kind = ActionKind::hear_take;
    TakeWriter writer{std::move(wish), *lines};
    for (int i = 0; i < 3; ++i) {
        push_for(*lines, key(10 * i, 60 + i, true), only(0) | only(1));
        push_for(*lines, key(10 * i + 5, 60 + i, false), only(0) | only(1));
    }
    push_for(*lines, key(100, 25, true), only(0)); // ends the take that runs
    push_for(*lines, key(110, 25, false), only(0));
    std::vector<Input> given;
    const auto take_what_is_given = [&] {
        for (Input input; lines->from_take.pop(input);) given.push_back(input);
        return !given.empty() && given.back().kind == InputKind::gap;
    };
    REQUIRE(soon(take_what_is_given));
    CHECK(takes_in(folder.path).size() == 1);
    CHECK(std::is_sorted(given.begin(), given.end(), [](const Input& a, const Input& b) { return a.at < b.at; }));
    CHECK(std::all_of(given.begin(), given.end(), [](const Input& i) { return i.source == source_again && i.data[4] == 1; }));
    std::vector<Command> arms;
    for (const Input& input : given)
        if (input.kind == InputKind::command && input.data[3] == 1) arms.push_back(static_cast<Command>(input.data[0]));
    CHECK(arms == std::vector<Command>{Command::bypass_on, Command::bypass_off});
    CHECK(note_ons(given) == 2 * 2 * 3); // passes, players, notes; the control key is left out
    CHECK(lines->hearing.load() == 1);

    // As the engine does when a key by hand ends it: here the control key itself.
    lines->hearing.store(0);
    lines->hearing_stopped_by.store(Time{5'000'000'000}.ns);
    push_for(*lines, key(5000, 25, true), only(0));
    push_for(*lines, key(5010, 25, false), only(0));
    push_for(*lines, key(5100, 70, true), only(0)); // a new take
    push_for(*lines, key(5200, 70, false), only(0));
    REQUIRE(soon([&] { return writer.state().running; }));
    CHECK(lines->hearing.load() == 0);
    CHECK(writer.finish());
    CHECK(takes_in(folder.path).size() == 2);
}

// A reload that is overtaken by another before its players came.
TEST_CASE("threads: a player that was withdrawn is in neither the report nor the journal, the one that came instead is in both")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    const PlayerConfig cello = [] {
        const Loaded loaded = load_configuration(BOWARM_SOURCE_DIR "/config/bowarm.toml", {"cello", std::nullopt});
        return std::get<Settings>(loaded).player;
    }();
    const auto texts = [](const std::string& name) {
        return ConfigurationTexts{{name, "configuration"}, {"instrument", "text"}, {"target", "text"}};
    };
    TakeWriter writer{wish_for(folder.path, Seconds{20}), *lines};
    writer.configured({packaged_violin()}, texts("kept before"), Seconds{20}, {});
    writer.configured({packaged_violin()}, texts("withdrawn"), Seconds{20}, {});
    writer.withdraw_configured();
    writer.configured({cello}, texts("came"), Seconds{20}, {});
    for (const std::int64_t ms : {10, 20}) {
        const Input configured{Time{ms * 1'000'000}, source_service, InputKind::configured, {}};
        lines->take.push(configured);
        lines->journal.push(configured);
    }
    push_notes(*lines, 1, 3);
    CHECK(writer.finish());
    const auto journals = ending_with(folder.path, "", ".journal");
    REQUIRE(journals.size() == 1);
    const Journal journal = journal_in(journals[0]);
    REQUIRE(journal.new_texts.size() == 2);
    CHECK(journal.new_texts[0].texts.configuration.name == "kept before");
    CHECK(journal.new_texts[1].texts.configuration.name == "came");
    const auto reports = ending_with(folder.path, "", ".json");
    REQUIRE(reports.size() == 1);
    const auto bytes = bytes_of_file(reports[0]);
    CHECK(std::string{bytes.begin(), bytes.end()}.find("\"instrument\":\"cello\"") != std::string::npos);
}
