// The folder of takes: only our own names are listed, pruned and deleted.
#include "folder.hpp"
#include "studio/build_id.hpp"
#include "studio/take_folder.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string>
#include <sys/stat.h>
#include <unistd.h>

using namespace bowarm;
namespace fs = std::filesystem;

namespace
{

struct Folder : test::Folder {
    void take(const std::string& stem, std::size_t bytes = 10) const
    {
        for (const char* ending : {".mid", "-played.mid", ".json", ".journal"}) put(stem + ending, bytes);
    }
    void put(const std::string& name, std::size_t bytes = 10) const { std::ofstream{path / name} << std::string(bytes, 'x'); }
};

std::vector<std::string> stems(const fs::path& folder)
{
    std::vector<std::string> found;
    for (const KeptTake& take : takes_in(folder)) found.push_back(take.stem);
    return found;
}

} // namespace

TEST_CASE("takes are listed by age, and what only looks like one is not")
{
    const Folder folder;
    for (const char* stem : {"take-20260101-100000-10", "take-20260101-100000-2", "take-20260101-100000", "take-20251231-235959"})
        folder.take(stem);
    for (const char* other : {"take-.mid", "take-20260101.mid", "take-20260101-1000000.mid", "take-20260101-100000-x.mid", "song.mid",
                              "take.mid", "xtake-20260101-100000.mid", "open-20260101-100000.journal"})
        folder.put(other);
    CHECK(stems(folder.path) ==
          std::vector<std::string>{"take-20251231-235959", "take-20260101-100000", "take-20260101-100000-2", "take-20260101-100000-10"});
    CHECK(takes_in(folder.path / "nowhere").empty());
}

TEST_CASE("a take is called by stem, name, number or last")
{
    const Folder folder;
    folder.take("take-20260101-100000");
    folder.take("take-20260102-100000");
    name_take(folder.path, "take-20260101-100000", "slow\nsong");
    CHECK(take_called(folder.path, "slow")->stem == "take-20260101-100000");
    CHECK(take_called(folder.path, "2")->stem == "take-20260102-100000");
    CHECK(take_called(folder.path, "last")->stem == "take-20260102-100000");
    CHECK(take_called(folder.path, "take-20260101-100000")->name == "slow");
    for (const char* unknown : {"0", "3", "", "-1", "take-20260103-100000", "../x"}) CHECK_FALSE(take_called(folder.path, unknown));
    name_take(folder.path, "take-20260101-100000", "");
    CHECK_FALSE(take_called(folder.path, "slow"));
}

TEST_CASE("a clock that was set back makes no new take the oldest")
{
    const Folder folder;
    for (const char* stem : {"take-20260101-230000", "take-20260101-231000", "take-20260101-221500", "take-20260101-222000"})
        folder.take(stem, 10);
    const std::vector<std::string> made{"take-20260101-231000", "take-20260101-221500", "take-20260101-222000"};
    CHECK(prune_takes(folder.path, {2, 0}, made) == std::vector<std::string>{"take-20260101-230000", "take-20260101-231000"});
    CHECK(prune_takes(folder.path, {1, 0}, made) == std::vector<std::string>{"take-20260101-221500"});
}

TEST_CASE("pruning takes the oldest, never a kept one, never the newest, and nothing that is not ours")
{
    const Folder folder;
    for (int day = 1; day <= 6; ++day) folder.take("take-2026010" + std::to_string(day) + "-100000", 300'000);
    folder.put("take-20260101-notes.txt");
    folder.put("my song.mid");
    keep_take(folder.path, "take-20260102-100000");
    CHECK(prune_takes(folder.path, {}).empty());
    CHECK(prune_takes(folder.path, {4, 0}) == std::vector<std::string>{"take-20260101-100000", "take-20260103-100000"});
    CHECK(stems(folder.path).size() == 4);
    // 1.2 MB each: two of them fit.
    CHECK(prune_takes(folder.path, {0, 3}) == std::vector<std::string>{"take-20260104-100000", "take-20260105-100000"});
    keep_take(folder.path, "take-20260106-100000");
    CHECK(prune_takes(folder.path, {1, 1}).empty());
    CHECK(stems(folder.path) == std::vector<std::string>{"take-20260102-100000", "take-20260106-100000"});
    CHECK(fs::exists(folder.path / "take-20260101-notes.txt"));
    CHECK(fs::exists(folder.path / "my song.mid"));
}

TEST_CASE("names and marks are their owner's alone, and a new take takes no name that anything of another has")
{
    const Folder folder;
    const mode_t before = ::umask(0);
    name_take(folder.path, "take-20260101-100000", "a");
    keep_take(folder.path, "take-20260101-100000");
    ::umask(before);
    for (const auto& entry : fs::directory_iterator{folder.path})
        CHECK((entry.status().permissions() & fs::perms::all) == (fs::perms::owner_read | fs::perms::owner_write));
    CHECK(free_stem(folder.path, "take-20260101-100000") == "take-20260101-100000-2");
}

TEST_CASE("a name that was deleted is not given again before a later one of the same second")
{
    const Folder folder;
    for (const char* stem : {"take-20260101-100000", "take-20260101-100000-2", "take-20260101-100000-3"}) folder.take(stem);
    delete_take(folder.path, "take-20260101-100000");
    delete_take(folder.path, "take-20260101-100000-2");
    CHECK(free_stem(folder.path, "take-20260101-100000") == "take-20260101-100000-4");
}

TEST_CASE("a link with a take's name is no take: nothing behind it is shown, counted, written or deleted")
{
    const Folder folder, elsewhere;
    elsewhere.put("secret", 5000);
    folder.take("take-20260101-100000");
    fs::create_symlink(elsewhere.path / "secret", folder.path / "take-20260101-100000.name");
    fs::create_symlink(elsewhere.path / "secret", folder.path / "take-20260102-100000.mid");
    const auto takes = takes_in(folder.path);
    REQUIRE(takes.size() == 1);
    CHECK(takes[0].name.empty());
    CHECK(takes[0].bytes == 40);
    CHECK(free_stem(folder.path, "take-20260102-100000") == "take-20260102-100000-2");
    delete_take(folder.path, "take-20260101-100000");
    CHECK(fs::file_size(elsewhere.path / "secret") == 5000);
    for (const char* word : {"..", ".", "../secret", "/etc/passwd", "take-20260102-100000", "", "-1", "0"}) {
        CAPTURE(word);
        CHECK_FALSE(take_called(folder.path, word));
    }
}

TEST_CASE("a name is at most one line of 80 bytes, whatever lies in its file")
{
    const Folder folder;
    folder.take("take-20260101-100000");
    folder.put("take-20260101-100000.name", 1'000'000);
    CHECK(takes_in(folder.path).at(0).name == std::string(80, 'x'));
}

// binutils: readelf prints the note that the linker wrote.
TEST_CASE("the build's identification is the one that readelf finds")
{
    std::string text;
    std::FILE* pipe = ::popen(("readelf -n /proc/" + std::to_string(::getpid()) + "/exe").c_str(), "r");
    REQUIRE(pipe != nullptr);
    std::array<char, 256> line{};
    while (std::fgets(line.data(), line.size(), pipe) != nullptr) text += line.data();
    ::pclose(pipe);
    const auto at = text.find("Build ID: ");
    REQUIRE(at != std::string::npos);
    CHECK(text.substr(at + 10, text.find('\n', at) - at - 10) == build_id());
}
