// The take writer: three private files, none overwritten, and a folder that cannot be written does not stop the music.
#include "folder.hpp"
#include "live_player.hpp"
#include "soon.hpp"

#include "studio/take_writer.hpp"
#include "take/hindsight.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <sys/resource.h>
#include <sys/stat.h>
#include <thread>
#include <unistd.h>

using namespace bowarm;
using namespace bowarm::test;
namespace fs = std::filesystem;

namespace
{

std::size_t count_of(const fs::path& folder, const std::string& ending)
{
    std::size_t count = 0;
    for (const auto& entry : fs::directory_iterator{folder})
        if (entry.path().filename().string().ends_with(ending)) ++count;
    return count;
}

void give(Lines& lines, const std::vector<Input>& inputs)
{
    Recorder performed;
    Player player{packaged_violin()};
    perform(player, inputs, inputs.back().at, performed);
    for (const Input& input : performed.inputs()) lines.take.push(input);
    for (const SentMessage& sent : performed.sent()) {
        OutItem item;
        item.at = sent.at;
        item.count = 1;
        item.messages[0] = sent.message;
        lines.take.push(item);
    }
    for (const Fact& fact : performed.facts()) lines.take.push(fact);
    for (const Decision& decision : performed.decisions()) lines.take.push(decision);
}

const Message key_on = note_on(Channel{}, Midi7::nearest(60), Midi7::nearest(64));
const Message clock_tick{{0xF8, 0, 0}, 1}; // MIDI 1.0, system real-time messages: timing clock, 24 a quarter

// What a sequencer's clock and a breath controller send all the time, every ten milliseconds.
void stream_for(Lines& lines, int milliseconds_long, const auto& until)
{
    for (int i = 0; i < milliseconds_long / 10 && !until(); ++i) {
        lines.take.push(midi_input(Time{i}, {0}, clock_tick));
        lines.take.push(midi_input(Time{i}, {0}, control_change(Channel{}, Midi7::nearest(2), Midi7::nearest(i % 128))));
        std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
}

} // namespace

TEST_CASE("threads: a take is three files for their owner only, and a second one in the same second overwrites nothing")
{
    const Folder folder;
    const mode_t before = ::umask(077);
    const fs::path takes = folder.path / "new" / "takes";
    const auto lines = std::make_unique<Lines>();
    for (int n = 1; n <= 3; ++n) {
        TakeWriter writer{{takes, Seconds{20}, false, {packaged_violin()}}, *lines};
        give(*lines, tune(31, 4));
        CHECK(writer.finish());
        CHECK(count_of(takes, ".mid") == static_cast<std::size_t>(2 * n));
        CHECK(count_of(takes, "-played.mid") == static_cast<std::size_t>(n));
        CHECK(count_of(takes, ".json") == static_cast<std::size_t>(n));
    }
    ::umask(before);
    CHECK((fs::status(takes).permissions() & fs::perms::all) == fs::perms::owner_all);
    for (const auto& entry : fs::directory_iterator{takes})
        CHECK((entry.status().permissions() & fs::perms::all) == (fs::perms::owner_read | fs::perms::owner_write));
}

TEST_CASE("threads: silence ends a take, a key that is down does not")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    TakeWriter writer{{folder.path, Seconds{0.5}, false, {packaged_violin()}}, *lines};
    std::vector<Input> inputs = tune(32, 3);
    const Input last_off = inputs.back();
    inputs.pop_back();
    give(*lines, inputs); // performed to its end, so the writer sees a release of everything
    lines->take.push(midi_input(last_off.at, {0}, note_on(Channel{}, Midi7::nearest(60), Midi7::nearest(64))));
    std::this_thread::sleep_for(std::chrono::milliseconds(2300));
    CHECK(count_of(folder.path, ".json") == 0);
    lines->take.push(midi_input(last_off.at, {0}, note_off(Channel{}, Midi7::nearest(60))));
    for (int i = 0; i < 50 && count_of(folder.path, ".json") == 0; ++i) std::this_thread::sleep_for(std::chrono::milliseconds(100));
    CHECK(count_of(folder.path, ".json") == 1);
    CHECK(soon([&] { return lines->wants_state.load(); })); // the next take is to begin with the whole state
    CHECK(writer.finish());
    CHECK(count_of(folder.path, ".json") == 1); // and nothing that has no notes
}

TEST_CASE("threads: controllers alone are no take")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    TakeWriter writer{{folder.path, Seconds{0.2}, false, {packaged_violin()}}, *lines};
    lines->take.push(midi_input(Time{1}, {0}, control_change(Channel{}, Midi7::nearest(11), Midi7::nearest(64))));
    lines->take.push(command_input(Time{2}, Command::bypass_on));
    CHECK(writer.finish());
    CHECK(fs::is_empty(folder.path));
}

TEST_CASE("threads: a take folder that is a file is a problem in words, and the writer lives on")
{
    const Folder folder;
    const fs::path file = folder.path / "not-a-folder";
    std::ofstream{file} << "text";
    const auto lines = std::make_unique<Lines>();
    TakeWriter writer{{file, Seconds{20}, false, {packaged_violin()}}, *lines};
    CHECK(writer.problem().find("not-a-folder") != std::string::npos);
    give(*lines, tune(33, 3));
    CHECK_FALSE(writer.finish());
    std::ifstream stream{file};
    CHECK(std::string{std::istreambuf_iterator<char>{stream}, {}} == "text");
}

TEST_CASE("threads: a take's report tells the regret that its decisions, kept with it, give")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    TakeWriter writer{{folder.path, Seconds{20}, false, {packaged_violin()}}, *lines};
    const auto inputs = tune(30, 200);
    give(*lines, inputs);
    CHECK(writer.finish());
    Recorder performed;
    Player player{packaged_violin()};
    perform(player, inputs, inputs.back().at, performed);
    const double regret = bow_again(packaged_violin().instrument, performed).regret();
    CHECK(regret > 0); // so that a zero could not pass for it
    for (const auto& entry : fs::directory_iterator{folder.path}) {
        if (entry.path().extension() != ".json") continue;
        std::ifstream file{entry.path()};
        const std::string text{std::istreambuf_iterator<char>{file}, {}};
        const auto at = text.find("\"regret\":");
        REQUIRE(at != std::string::npos);
        CHECK(std::stod(text.substr(at + 9)) == doctest::Approx(regret).epsilon(0.001));
    }
}

TEST_CASE("threads: what the rings lost is a problem of the take")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    lines->take.lost.store(3);
    TakeWriter writer{{folder.path, Seconds{20}, false, {packaged_violin()}}, *lines};
    for (int i = 0; i < 3000 && writer.problem().empty(); ++i) std::this_thread::sleep_for(std::chrono::milliseconds(1));
    CHECK(writer.problem().find("3 events") != std::string::npos);
    give(*lines, tune(34, 3));
    CHECK_FALSE(writer.finish());
    CHECK(count_of(folder.path, ".json") == 1);
    CHECK(writer.problem().find("3 events") != std::string::npos); // a take that was written does not hide it
}

TEST_CASE("threads: a key whose end the ring has lost does not keep a take open")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    TakeWriter writer{{folder.path, Seconds{0.2}, false, {packaged_violin()}}, *lines};
    give(*lines, tune(37, 3));
    lines->take.push(midi_input(Time{1}, {0}, key_on));
    lines->take.lost.store(1); // its note-off
    lines->take.push(midi_input(Time{2}, {0}, clock_tick));
    CHECK(soon([&] { return count_of(folder.path, ".json") == 1; }));
}

TEST_CASE("threads: clocks and controllers neither make a take nor keep one open")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    TakeWriter writer{{folder.path, Seconds{0.3}, false, {packaged_violin()}}, *lines};
    stream_for(*lines, 4000, [&] { return lines->wants_state.load(); });
    CHECK(lines->wants_state.load()); // what had gathered was thrown away
    CHECK(fs::is_empty(folder.path));
    give(*lines, tune(35, 3));
    stream_for(*lines, 4000, [&] { return count_of(folder.path, ".json") == 1; });
    CHECK(count_of(folder.path, ".json") == 1);
    CHECK(writer.finish());
}

// MIDI 1.0, channel mode messages: 120 all sound off, 123 all notes off, and 124 to 127 imply it; 121 does not.
TEST_CASE("threads: keys that a channel mode message or panic has ended do not keep a take open")
{
    for (const int number : {120, 123, 124, 127, 121, -1}) {
        CAPTURE(number);
        const Folder folder;
        const auto lines = std::make_unique<Lines>();
        TakeWriter writer{{folder.path, Seconds{0.1}, false, {packaged_violin()}}, *lines};
        give(*lines, tune(36, 2));
        lines->take.push(midi_input(Time{1}, {0}, key_on));
        const Input ending = number < 0 ? command_input(Time{2}, Command::panic)
                                        : midi_input(Time{2}, {0}, control_change(Channel{}, Midi7::nearest(number), Midi7{}));
        lines->take.push(ending);
        const auto written = [&] { return count_of(folder.path, ".json") == 1; };
        if (number == 121) {
            std::this_thread::sleep_for(std::chrono::milliseconds(2200));
            CHECK_FALSE(written());
        } else {
            CHECK(soon(written));
        }
    }
}

TEST_CASE("threads: a disk that takes no more leaves no parts behind, and the take keeps the name of its beginning")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    const auto whole = [&](const fs::path& path) {
        TakeWriter writer{{path, Seconds{20}, false, {packaged_violin()}}, *lines};
        give(*lines, tune(37, 20));
        CHECK(writer.finish());
        std::uintmax_t music = 0, report = 0;
        for (const auto& entry : fs::directory_iterator{path}) {
            std::uintmax_t& size = entry.path().extension() == ".json" ? report : music;
            size = std::max(size, entry.file_size());
        }
        REQUIRE(music < report);
        return music;
    };
    const std::uintmax_t enough_for_music = whole(folder.path / "free");

    // setrlimit(2): a write beyond the limit fails with EFBIG where SIGXFSZ is ignored.
    const auto before_signal = std::signal(SIGXFSZ, SIG_IGN);
    rlimit before{};
    ::getrlimit(RLIMIT_FSIZE, &before);
    const rlimit narrow{enough_for_music, before.rlim_max};
    const fs::path full = folder.path / "full";
    TakeWriter writer{{full, Seconds{0.1}, false, {packaged_violin()}}, *lines};
    ::setrlimit(RLIMIT_FSIZE, &narrow);
    give(*lines, tune(37, 20));
    CHECK(soon([&] { return !writer.problem().empty(); }));
    ::setrlimit(RLIMIT_FSIZE, &before);
    std::signal(SIGXFSZ, before_signal);
    CHECK(writer.problem().find(full.string() + ": File too large; ") != std::string::npos);
    CHECK(fs::is_empty(full));
    CHECK(writer.finish());
    CHECK(writer.problem().empty());
    CHECK(count_of(full, ".mid") == 2);
    CHECK(count_of(full, ".json") == 1);
}

TEST_CASE("threads: a take that fills its memory says so and is written as far as it goes")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    TakeWriter writer{{folder.path, Seconds{20}, false, {packaged_violin()}, 4000}, *lines};
    lines->take.push(midi_input(Time{1}, {0}, key_on)); // stays down, so the take goes on
    give(*lines, tune(38, 20));
    CHECK(soon([&] { return writer.problem().find("memory") != std::string::npos; }));
    CHECK_FALSE(writer.finish());
    CHECK(count_of(folder.path, ".json") == 1);
}

TEST_CASE("threads: a folder that cannot be written loses nothing when nothing was played")
{
    const Folder folder;
    const fs::path file = folder.path / "not-a-folder";
    std::ofstream{file} << "text";
    const auto lines = std::make_unique<Lines>();
    TakeWriter writer{{file, Seconds{20}, false, {packaged_violin()}}, *lines};
    CHECK(writer.problem() == "the take cannot be kept: " + file.string() + ": Not a directory; name another folder with --takes");
    CHECK(writer.finish());
}
