#include "folder.hpp"
#include "take/take.hpp"

#include <cerrno>
#include <cstdlib>
#include <doctest/doctest.h>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <sys/stat.h>
#include <system_error>

using namespace bowarm;
namespace fs = std::filesystem;

namespace
{

struct Folder : test::Folder {
    std::size_t files() const { return static_cast<std::size_t>(std::distance(fs::directory_iterator(path), fs::directory_iterator())); }
};

void write(const fs::path& path, const std::string& text)
{
    write_whole_file(path, {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
}

std::string text_of(const fs::path& path)
{
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

int error_of(const fs::path& path)
{
    try {
        write(path, "x");
    } catch (const std::system_error& error) {
        CHECK(std::string{error.what()}.find(path.filename().string()) != std::string::npos);
        return error.code().value();
    }
    return 0;
}

} // namespace

TEST_CASE("a file is made and replaced whole, and nothing is left beside it")
{
    const Folder folder;
    write(folder.path / "take.mid", "first");
    write(folder.path / "take.mid", "second one");
    CHECK(text_of(folder.path / "take.mid") == "second one");
    CHECK(folder.files() == 1);
}

TEST_CASE("a name as long as the file system allows works")
{
    const Folder folder;
    write(folder.path / std::string(255, 'n'), "text");
    CHECK(text_of(folder.path / std::string(255, 'n')) == "text");
}

TEST_CASE("what cannot be written says why, and leaves nothing behind")
{
    const Folder folder;
    CHECK(error_of(folder.path / "absent" / "take.mid") == ENOENT);
    fs::create_directory(folder.path / "a folder");
    CHECK(error_of(folder.path / "a folder") == EISDIR);
    write(folder.path / "a file", "text");
    CHECK(error_of(folder.path / "a file" / "take.mid") == ENOTDIR);
    CHECK(folder.files() == 2);
}

TEST_CASE("a link keeps pointing where it does, and permissions stay")
{
    const Folder folder;
    write(folder.path / "real.mid", "old");
    fs::permissions(folder.path / "real.mid", fs::perms::owner_read | fs::perms::owner_write);
    fs::create_symlink("real.mid", folder.path / "link.mid");
    write(folder.path / "link.mid", "new");
    CHECK(fs::is_symlink(folder.path / "link.mid"));
    CHECK(text_of(folder.path / "real.mid") == "new");
    CHECK(fs::status(folder.path / "real.mid").permissions() == (fs::perms::owner_read | fs::perms::owner_write));
}

TEST_CASE("a device is written to, not replaced")
{
    write("/dev/null", "text");
    CHECK(fs::is_character_file("/dev/null"));
}
