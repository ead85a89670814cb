// Journals that nobody's service wrote: whatever lies in the folder of takes, the service starts and nothing is touched.
#include "folder.hpp"
#include "studio/journal_writer.hpp"
#include "studio/kept_configuration.hpp"
#include "studio/left_over.hpp"

#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <string>
#include <sys/stat.h>
#include <system_error>
#include <unistd.h>

using namespace bowarm;
using namespace bowarm::test;
namespace fs = std::filesystem;

namespace
{

void put(const fs::path& path, const JournalBytes& bytes)
{
    std::ofstream{path, std::ios::binary}.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
}

JournalBytes journal_with(const std::string& instrument_name)
{
    JournalBytes bytes = journal_beginning();
    JournalHead head;
    head.texts = {{"/home/me/bowarm.toml", "version = 1\n"}, {instrument_name, "version = 1\n"}, {"general-midi.toml", "version = 1\n"}};
    append_record(bytes, head);
    append_record(bytes, midi_input(Time{1'000}, Source{0}, note_on(Channel{}, Midi7::nearest(60), Midi7::nearest(80))));
    return bytes;
}

} // namespace

TEST_CASE("a pipe, a link, a folder and a file of holes with a journal's name do not keep the service from starting")
{
    const Folder folder;
    REQUIRE(::mkfifo((folder.path / "open-a.journal").c_str(), 0600) == 0);
    std::ofstream{folder.path / "elsewhere"} << "not a journal";
    fs::create_symlink(folder.path / "elsewhere", folder.path / "open-b.journal");
    fs::create_directory(folder.path / "open-c.journal");
    std::ofstream{folder.path / "open-d.journal"} << "bowarm";
    fs::resize_file(folder.path / "open-d.journal", std::uintmax_t{1} << 40); // a terabyte that takes no room
    put(folder.path / "open-e.journal", journal_with("violin.toml"));
    const auto left = gather_left_over(folder.path, milliseconds(20'000));
    REQUIRE(left.size() == 1);
    CHECK(left[0].journal->path().filename() == "open-e.journal");
    CHECK(fs::file_size(folder.path / "elsewhere") == 13);
    CHECK_THROWS_AS(bytes_of_file(folder.path / "open-d.journal"), std::system_error);
    CHECK_THROWS_AS(bytes_of_file("/dev/zero"), std::system_error);
}

TEST_CASE("a journal that names its files with dots is a journal without a configuration, and leaves nothing in the temporary folder")
{
    for (const std::string& name :
         {std::string{".."}, std::string{"a/.."}, std::string{"."}, std::string{}, std::string{"a/"}, std::string{"a\0b", 3}}) {
        CAPTURE(name);
        const Folder folder;
        put(folder.path / "open-a.journal", journal_with(name));
        const auto left = gather_left_over(folder.path, milliseconds(20'000));
        REQUIRE(left.size() == 1);
        CHECK(left[0].players.empty());
        CHECK(left[0].problem.find("does not name its instrument") != std::string::npos);
    }
}

// NAME_MAX of Linux is 255 bytes (limits.h).
TEST_CASE("a name that no file system takes is a problem in words, too")
{
    const Folder folder;
    put(folder.path / "open-a.journal", journal_with(std::string(5000, 'x')));
    const auto left = gather_left_over(folder.path, milliseconds(20'000));
    REQUIRE(left.size() == 1);
    CHECK(left[0].players.empty());
    CHECK_FALSE(left[0].problem.empty());
}
