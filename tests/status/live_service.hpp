// The status service on a thread of its own, and a peer with a plain socket of the system.
#pragma once

#include "fake_source.hpp"
#include "folder.hpp"

#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/json/parse.hpp>
#include <doctest/doctest.h>
#include <filesystem>
#include <memory>
#include <netinet/in.h>
#include <string>
#include <sys/socket.h>
#include <sys/un.h>
#include <thread>
#include <unistd.h>

namespace bowarm::test
{

class Service
{
public:
    explicit Service(std::uint16_t tcp_port = 0)
        : server_(std::make_unique<StatusServer>(io_, StatusOptions{path(), 4, tcp_port, token_file()}, source)),
          thread_([this] { io_.run(); })
    {
    }
    ~Service()
    {
        boost::asio::post(io_, [this] { server_.reset(); });
        thread_.join(); // ends by itself: no timer or handler is left once the server is gone
    }
    std::filesystem::path path() const { return folder_.path / "status.sock"; }
    std::filesystem::path token_file() const { return folder_.path / "token"; }

    FakeSource source;

private:
    Folder folder_;
    boost::asio::io_context io_;
    std::unique_ptr<StatusServer> server_;
    std::thread thread_;
};

class Peer
{
public:
    explicit Peer(const Service& service) : fd_(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0))
    {
        const timeval patience{5, 0};
        ::setsockopt(fd_, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
        ::setsockopt(fd_, SOL_SOCKET, SO_SNDTIMEO, &patience, sizeof patience);
        sockaddr_un address{};
        address.sun_family = AF_UNIX;
        service.path().string().copy(address.sun_path, sizeof address.sun_path - 1);
        REQUIRE(::connect(fd_, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0);
    }
    explicit Peer(std::uint16_t tcp_port) : fd_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0))
    {
        const timeval patience{5, 0};
        ::setsockopt(fd_, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
        sockaddr_in address{};
        address.sin_family = AF_INET;
        address.sin_port = htons(tcp_port);
        address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        REQUIRE(::connect(fd_, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0);
    }
    ~Peer() { ::close(fd_); }
    Peer(const Peer&) = delete;
    Peer& operator=(const Peer&) = delete;

    // Bytes that were taken; fewer when the other side stopped taking them or went away.
    std::size_t send(const std::string& text, int flags = 0)
    {
        std::size_t sent = 0;
        while (sent < text.size()) {
            const auto n = ::send(fd_, text.data() + sent, text.size() - sent, MSG_NOSIGNAL | flags);
            if (n <= 0) break;
            sent += static_cast<std::size_t>(n);
        }
        return sent;
    }
    // A line without its LF; empty at the end of the connection or after five seconds of silence.
    std::string line()
    {
        for (;;) {
            if (const auto end = buffer_.find('\n'); end != std::string::npos) {
                std::string line = buffer_.substr(0, end);
                buffer_.erase(0, end + 1);
                return line;
            }
            char chunk[16384];
            const auto n = ::recv(fd_, chunk, sizeof chunk, 0);
            if (n <= 0) {
                ended_ = n == 0;
                return {};
            }
            buffer_.append(chunk, static_cast<std::size_t>(n));
        }
    }
    boost::json::object message() { return boost::json::parse(line()).as_object(); }
    bool ended() { return line().empty() && ended_; }
    std::int64_t error_code() { return message().at("error").as_object().at("code").as_int64(); }

private:
    int fd_;
    std::string buffer_;
    bool ended_{false};
};

inline const std::string ask_version = R"({"jsonrpc":"2.0","id":1,"method":"version"})";

inline bool answers(Peer& peer)
{
    peer.send(ask_version + "\n");
    return peer.message().if_contains("result") != nullptr;
}

inline std::string subscribe_line(int rate)
{
    return R"({"jsonrpc":"2.0","id":1,"method":"subscribe","params":{"rate":)" + std::to_string(rate) + "}}\n";
}

} // namespace bowarm::test
