// The socket's name in the file system (unix(7), flock(2)): who may have it, who may not, and what is left afterwards.
#include "fake_source.hpp"
#include "folder.hpp"
#include "status/socket_file.hpp"

#include <boost/asio/io_context.hpp>
#include <doctest/doctest.h>
#include <fstream>
#include <optional>
#include <string>
#include <sys/file.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <system_error>
#include <unistd.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

mode_t mode_of(const std::filesystem::path& path)
{
    struct stat info {
    };
    REQUIRE(::stat(path.c_str(), &info) == 0);
    return info.st_mode & 07777;
}

// A socket that is bound and then abandoned, as a killed process leaves it.
void leave_a_dead_socket(const std::filesystem::path& path)
{
    const int fd = ::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    path.string().copy(address.sun_path, sizeof address.sun_path - 1);
    REQUIRE(::bind(fd, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0);
    REQUIRE(::listen(fd, 1) == 0);
    ::close(fd);
}

struct Service {
    explicit Service(const std::filesystem::path& path) : server(io, {path, 16}, source) {}
    boost::asio::io_context io;
    FakeSource source;
    StatusServer server;
};

int error_of(const std::filesystem::path& path)
{
    try {
        const Service service{path};
        return 0;
    } catch (const std::system_error& error) {
        CHECK(std::string{error.what()}.find(path.string().substr(0, 20)) != std::string::npos);
        return error.code().value();
    }
}

} // namespace

TEST_CASE("the socket is 0600 in a folder of 0700 whatever the umask")
{
    const Folder folder;
    const auto path = folder.path / "made" / "status.sock";
    const mode_t before = ::umask(0);
    {
        const Service service{path};
        CHECK(mode_of(path) == 0600);
        CHECK(mode_of(path.parent_path()) == 0700);
        CHECK(mode_of(path.string() + ".lock") == 0600);
        CHECK(::umask(0) == 0); // given back
    }
    ::umask(before);
    CHECK(!std::filesystem::exists(path));
}

TEST_CASE("a living service keeps its socket")
{
    const Folder folder;
    const auto path = folder.path / "status.sock";
    const Service first{path};
    CHECK_THROWS_AS(Service{path}, SocketInUse);
    CHECK(std::filesystem::exists(path));
    // Even when somebody removed the lock file, the socket that answers is not taken.
    std::filesystem::remove(path.string() + ".lock");
    CHECK_THROWS_AS(Service{path}, SocketInUse);
    CHECK(std::filesystem::exists(path));
}

TEST_CASE("a socket left by a dead service is taken over")
{
    const Folder folder;
    const auto path = folder.path / "status.sock";
    leave_a_dead_socket(path);
    REQUIRE(std::filesystem::exists(path));
    const Service service{path};
    CHECK(std::filesystem::is_socket(path));
}

TEST_CASE("a dead socket is left alone while somebody holds the lock")
{
    const Folder folder;
    const auto path = folder.path / "status.sock";
    leave_a_dead_socket(path);
    const int lock = ::open((path.string() + ".lock").c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    REQUIRE(::flock(lock, LOCK_EX) == 0);
    CHECK_THROWS_AS(Service{path}, SocketInUse);
    CHECK(std::filesystem::is_socket(path));
    ::close(lock);
    CHECK_NOTHROW(Service{path});
}

TEST_CASE("what is no socket is never removed")
{
    const Folder folder;
    const auto path = folder.path / "status.sock";
    std::ofstream{path} << "a letter";
    CHECK(error_of(path) == EEXIST);
    CHECK(std::filesystem::file_size(path) == 8);
}

TEST_CASE("the socket of a successor is not unlinked at exit")
{
    const Folder folder;
    const auto path = folder.path / "status.sock";
    {
        const Service service{path};
        std::filesystem::remove(path);
        leave_a_dead_socket(path); // another one with our name
    }
    CHECK(std::filesystem::exists(path));
}

TEST_CASE("107 bytes of path are taken and 108 are refused with the number")
{
    const Folder folder; // unix(7): sun_path has 108 bytes and a NUL at the end
    const std::string start = (folder.path / "").string();
    CHECK(error_of(start + std::string(107 - start.size(), 'x')) == 0);
    CHECK(error_of(start + std::string(108 - start.size(), 'x')) == ENAMETOOLONG);
    CHECK(error_of(start + std::string(60'000, 'x')) == ENAMETOOLONG);
}

TEST_CASE("a folder where others may write is refused")
{
    const Folder folder;
    ::chmod(folder.path.c_str(), 0777);
    CHECK(error_of(folder.path / "status.sock") == EACCES);
    ::chmod(folder.path.c_str(), 01777); // sticky, as /tmp: others cannot unlink what is ours
    CHECK(error_of(folder.path / "status.sock") == 0);
}

TEST_CASE("a folder of somebody else is refused")
{
    if (::geteuid() != 0) {
        MESSAGE("skipped: only root can give a folder away");
        return;
    }
    const Folder folder;
    REQUIRE(::chown(folder.path.c_str(), 65534, 65534) == 0);
    CHECK(error_of(folder.path / "s") == EACCES);
}

TEST_CASE("a link in the place of the socket or of its lock is neither followed nor removed")
{
    const Folder folder;
    std::ofstream{folder.path / "mine"} << "precious";
    std::filesystem::create_symlink(folder.path / "mine", folder.path / "s");
    CHECK(error_of(folder.path / "s") == EEXIST);
    std::filesystem::create_symlink(folder.path / "mine", folder.path / "t.lock");
    CHECK(error_of(folder.path / "t") == ELOOP);
    std::string kept;
    std::ifstream{folder.path / "mine"} >> kept;
    CHECK(kept == "precious");
    CHECK(std::filesystem::is_symlink(folder.path / "s"));
}
