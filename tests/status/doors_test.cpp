// Who is let in: other users, TCP and its token.
#include "live_service.hpp"

#include <boost/asio/io_context.hpp>
#include <doctest/doctest.h>
#include <filesystem>
#include <fstream>
#include <string>
#include <sys/stat.h>
#include <sys/wait.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

// Of the system's own choosing, and free a moment ago.
std::uint16_t free_port()
{
    const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof address;
    REQUIRE(::bind(fd, reinterpret_cast<sockaddr*>(&address), size) == 0);
    REQUIRE(::getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size) == 0);
    ::close(fd);
    return ntohs(address.sin_port);
}

} // namespace

TEST_CASE("another user is told to go even where the file system would let him in")
{
    if (::geteuid() != 0) {
        MESSAGE("left out: only root can become another user");
        return;
    }
    Service service;
    std::filesystem::permissions(service.path().parent_path(), std::filesystem::perms{0755});
    std::filesystem::permissions(service.path(), std::filesystem::perms{0666});
    const pid_t child = ::fork();
    if (child == 0) {
        // Only calls that are safe after fork in a process with threads.
        char heard[256];
        bool right = ::setuid(65534) == 0;
        const int fd = ::socket(AF_UNIX, SOCK_STREAM, 0);
        sockaddr_un address{};
        address.sun_family = AF_UNIX;
        const auto path = service.path();
        for (std::size_t i = 0; i < path.native().size(); ++i) address.sun_path[i] = path.native()[i];
        right = right && ::connect(fd, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0;
        ssize_t size = right ? ::recv(fd, heard, sizeof heard, 0) : 0;
        right = right && size > 0 && std::string_view{heard, static_cast<std::size_t>(size)}.find("-32002") != std::string_view::npos;
        ::_exit(right ? 0 : 1);
    }
    int outcome = 1;
    REQUIRE(::waitpid(child, &outcome, 0) == child);
    CHECK(outcome == 0);
    Peer peer{service};
    CHECK(answers(peer));
}

TEST_CASE("over TCP nothing is answered before the token, and few guesses are heard")
{
    const auto port = free_port();
    Service service{port};
    struct stat info {
    };
    REQUIRE(::stat(service.token_file().c_str(), &info) == 0);
    CHECK((info.st_mode & 0777) == 0600);
    std::string token;
    std::ifstream{service.token_file()} >> token;
    const auto say = [](const std::string& word) {
        return R"({"jsonrpc":"2.0","id":1,"method":"authenticate","params":{"token":")" + word + "\"}}\n";
    };
    {
        Peer peer{port};
        peer.send(ask_version + "\n");
        CHECK(peer.error_code() == -32003);
        peer.send(say(token.substr(1) + "x"));
        CHECK(peer.error_code() == -32003);
        peer.send(say(token));
        CHECK(peer.message().at("result").as_object().at("accepted").as_bool());
        CHECK(answers(peer));
        peer.send(subscribe_line(10));
        CHECK(peer.message().if_contains("result") != nullptr);
        CHECK(peer.message().at("method").as_string() == "snapshot");
    }
    Peer rude{port};
    rude.send("GET / HTTP/1.1\nHost: here\n\n" + say(""));
    for (int i = 0; i < 2; ++i) CHECK(rude.error_code() == -32700);
    CHECK(rude.error_code() == -32003);
    CHECK(rude.error_code() == -32003); // and why it ends
    CHECK(rude.ended());
}

TEST_CASE("a token file that others may read, or that says too little, is refused")
{
    Folder folder;
    FakeSource source;
    boost::asio::io_context io;
    const auto file = folder.path / "token";
    const auto start = [&] { StatusServer{io, StatusOptions{folder.path / "s", 4, free_port(), file}, source}; };
    std::ofstream{file} << "0123456789abcdef\n";
    std::filesystem::permissions(file, std::filesystem::perms{0640});
    CHECK_THROWS_AS(start(), SocketProblem);
    std::filesystem::permissions(file, std::filesystem::perms{0600});
    CHECK_NOTHROW(start());
    std::ofstream{file} << "short\n";
    CHECK_THROWS_AS(start(), SocketProblem);
}
