// The take writer: three private files, none overwritten, and a folder that cannot be written does not stop the music.
#include "live_player.hpp"

#include "studio/take_writer.hpp"

#include <doctest/doctest.h>

#include <chrono>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <sys/stat.h>
#include <thread>
#include <unistd.h>

using namespace bowarm;
using namespace bowarm::test;
namespace fs = std::filesystem;

namespace
{

struct Folder {
    Folder()
    {
        std::string pattern = (fs::temp_directory_path() / "bowarm-takes-XXXXXX").string();
        path = ::mkdtemp(pattern.data());
    }
    ~Folder() { fs::remove_all(path); }
    fs::path path;
};

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
}

} // namespace

TEST_CASE("threads: a take is three files for their owner only, and a second one in the same second overwrites nothing")
{
    const Folder folder;
    const mode_t before = ::umask(077);
    const fs::path takes = folder.path / "new" / "takes";
    const auto lines = std::make_unique<Lines>();
    for (int n = 1; n <= 3; ++n) {
        TakeWriter writer{{takes, Seconds{20}, false, packaged_violin()}, *lines};
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
    TakeWriter writer{{folder.path, Seconds{0.5}, false, packaged_violin()}, *lines};
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
    CHECK(lines->wants_state.load()); // the next take is to begin with the whole state
    CHECK(writer.finish());
    CHECK(count_of(folder.path, ".json") == 1); // and nothing that has no notes
}

TEST_CASE("threads: controllers alone are no take")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    TakeWriter writer{{folder.path, Seconds{0.2}, false, packaged_violin()}, *lines};
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
    TakeWriter writer{{file, Seconds{20}, false, packaged_violin()}, *lines};
    CHECK(writer.problem().find("not-a-folder") != std::string::npos);
    give(*lines, tune(33, 3));
    CHECK_FALSE(writer.finish());
    std::ifstream stream{file};
    CHECK(std::string{std::istreambuf_iterator<char>{stream}, {}} == "text");
}

TEST_CASE("threads: what the rings lost is a problem of the take")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    lines->take.lost.store(3);
    TakeWriter writer{{folder.path, Seconds{20}, false, packaged_violin()}, *lines};
    for (int i = 0; i < 3000 && writer.problem().empty(); ++i) std::this_thread::sleep_for(std::chrono::milliseconds(1));
    CHECK(writer.problem().find("3 events") != std::string::npos);
}
