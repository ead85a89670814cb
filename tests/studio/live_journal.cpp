// The journal's thread: what the engine applied is soon in the file, whole after any trouble of the disk, and never written by two.
#include "folder.hpp"
#include "live_writers.hpp"
#include "soon.hpp"

#include "studio/left_over.hpp"
#include "studio/take_folder.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <memory>
#include <sys/resource.h>
#include <thread>

using namespace bowarm;
using namespace bowarm::test;
namespace fs = std::filesystem;

TEST_CASE("threads: what was applied is in a private, locked file before anybody closes it")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    JournalWriter writer{folder.path, head_of_violin(), *lines};
    push_notes(*lines, 0, 20);
    REQUIRE(soon([&] {
        const auto open = ending_with(folder.path, "open-", ".journal");
        return open.size() == 1 && journal_in(open[0]).inputs.size() == 40;
    }));
    const fs::path open = ending_with(folder.path, "open-", ".journal")[0];
    CHECK((fs::status(open).permissions() & fs::perms::all) == (fs::perms::owner_read | fs::perms::owner_write));
    CHECK(LeftOver::take(open) == nullptr); // flock(2)
    CHECK(errno == EWOULDBLOCK);
    CHECK(left_over_in(folder.path).empty());
    writer.finish();
    CHECK(left_over_in(folder.path).size() == 1); // played, and nobody closed the take: kept for the next start
}

TEST_CASE("threads: two writers in one folder write two journals, and each has its own inputs")
{
    const Folder folder;
    const auto one = std::make_unique<Lines>(), other = std::make_unique<Lines>();
    {
        JournalWriter first{folder.path, head_of_violin(), *one}, second{folder.path, head_of_violin(), *other};
        push_notes(*one, 0, 5);
        push_notes(*other, 0, 9);
    }
    std::vector<std::size_t> sizes;
    for (const fs::path& path : ending_with(folder.path, "open-", ".journal")) {
        CHECK(journal_in(path).damage.empty());
        sizes.push_back(journal_in(path).inputs.size());
    }
    std::sort(sizes.begin(), sizes.end());
    CHECK(sizes == std::vector<std::size_t>{10, 18});
}

TEST_CASE("threads: a journal in which nothing was played is taken away")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    JournalWriter writer{folder.path, head_of_violin(), *lines};
    lines->journal.push(command_input(Time{5}, Command::tap_beat));
    writer.finish();
    CHECK(fs::is_empty(folder.path));
}

// setrlimit(2): a write beyond the limit fails with EFBIG where SIGXFSZ is ignored.
TEST_CASE("threads: a disk that takes no more leaves whole records, a counted gap and words, and it goes on when there is room")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    const auto before_signal = std::signal(SIGXFSZ, SIG_IGN);
    rlimit before{};
    ::getrlimit(RLIMIT_FSIZE, &before);
    JournalWriter writer{folder.path, head_of_violin(), *lines, {4096, 1U << 20}};
    push_notes(*lines, 0, 5);
    REQUIRE(soon([&] {
        const auto open = ending_with(folder.path, "open-", ".journal");
        return open.size() == 1 && journal_in(open[0]).inputs.size() == 10;
    }));
    const fs::path open = ending_with(folder.path, "open-", ".journal")[0];
    const rlimit narrow{fs::file_size(open) + 100, before.rlim_max};
    ::setrlimit(RLIMIT_FSIZE, &narrow);
    push_notes(*lines, 5, 200);
    const bool told = soon([&] { return !writer.problem().empty() && writer.missing() > 0; });
    const Journal narrowed = journal_in(open);
    ::setrlimit(RLIMIT_FSIZE, &before);
    std::signal(SIGXFSZ, before_signal);
    CHECK(told);
    CHECK(narrowed.damage.empty());
    push_notes(*lines, 300, 5);
    REQUIRE(soon([&] { return !journal_in(open).gaps.empty(); }));
    CHECK(soon([&] { return writer.problem().empty(); }));
    writer.finish();
    const Journal journal = journal_in(open);
    CHECK(journal.damage.empty());
    std::uint64_t missing = 0;
    for (const JournalGap& gap : journal.gaps) missing += gap.inputs;
    CHECK(missing == writer.missing());
    CHECK(journal.inputs.size() + missing == 2 * 210); // nothing is missing silently
}

TEST_CASE("threads: a folder that comes later gets everything from the beginning")
{
    const Folder folder;
    const fs::path takes = folder.path / "takes";
    std::ofstream{takes} << "in the way";
    const auto lines = std::make_unique<Lines>();
    JournalWriter writer{takes, head_of_violin(), *lines};
    push_notes(*lines, 0, 5);
    REQUIRE(soon([&] { return writer.problem().find("takes") != std::string::npos; }));
    fs::remove(takes);
    push_notes(*lines, 5, 5);
    REQUIRE(soon([&] { return fs::is_directory(takes) && !ending_with(takes, "open-", ".journal").empty(); }));
    writer.finish();
    CHECK(journal_in(ending_with(takes, "open-", ".journal")[0]).inputs.size() == 20);
    CHECK(writer.problem().empty());
}

TEST_CASE("threads: what the ring lost is a gap")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    lines->journal.lost.store(4);
    JournalWriter writer{folder.path, head_of_violin(), *lines};
    push_notes(*lines, 0, 3);
    writer.finish();
    const Journal journal = journal_in(ending_with(folder.path, "open-", ".journal")[0]);
    REQUIRE(journal.gaps.size() == 1);
    CHECK(journal.gaps[0].inputs == 4);
    CHECK(writer.missing() == 4);
}

TEST_CASE("threads: two writers that each write two players: every player's inputs are where they belong")
{
    const Folder folder;
    const auto one = std::make_unique<Lines>(), other = std::make_unique<Lines>();
    {
        JournalWriter first{folder.path, head_of_violin(), *one}, second{folder.path, head_of_violin(), *other};
        for (int i = 0; i < 30; ++i) {
            one->journal.push(key(10 * i, 60, i % 2 == 0), only(0) | only(1));
            one->journal.push(key(10 * i, 62, i % 2 == 0), only(1));
            other->journal.push(key(10 * i, 64, i % 2 == 0), only(2));
            other->journal.push(OutputCheck{Time{10'000'000LL * i}, static_cast<std::uint64_t>(i), 5}, 2);
        }
    }
    std::size_t checks = 0;
    std::vector<std::size_t> counts;
    for (const fs::path& path : ending_with(folder.path, "open-", ".journal")) {
        const Journal journal = journal_in(path);
        CHECK(journal.damage.empty());
        checks += journal.checks.size();
        for (std::size_t player = 0; player < 3; ++player)
            counts.push_back(played_by(journal, {Time{}, Time{1'000'000'000}}, player).size());
    }
    CHECK(checks == 30);
    std::sort(counts.begin(), counts.end());
    CHECK(counts == std::vector<std::size_t>{0, 0, 0, 30, 30, 60});
}

// 250 ms is what a crash may cost; the bound here is generous, for the machine may be busy.
TEST_CASE("threads: after a long silence the first input is written at once, not at the next look")
{
    const Folder folder;
    const auto lines = std::make_unique<Lines>();
    JournalWriter writer{folder.path, head_of_violin(), *lines};
    for (int n = 0; n < 3; ++n) {
        std::this_thread::sleep_for(std::chrono::milliseconds(300)); // it sleeps by now
        push_notes(*lines, n, 1);
        CHECK(soon([&] {
            const auto open = ending_with(folder.path, "open-", ".journal");
            return open.size() == 1 && journal_in(open[0]).inputs.size() == static_cast<std::size_t>(2 * (n + 1));
        }));
    }
}
