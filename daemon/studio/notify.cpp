#include "studio/notify.hpp"

#include "midi/ports/monotonic.hpp"

#include <charconv>
#include <cstddef>
#include <cstdlib>
#include <cstring>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

namespace bowarm
{

namespace
{

std::string_view environment(const char* name)
{
    const char* value = std::getenv(name);
    return value == nullptr ? std::string_view{} : std::string_view{value};
}

std::optional<std::int64_t> number_in(const char* name)
{
    const std::string_view text = environment(name);
    std::int64_t number = 0;
    const auto read = std::from_chars(text.data(), text.data() + text.size(), number);
    if (text.empty() || read.ec != std::errc{} || read.ptr != text.data() + text.size()) return std::nullopt;
    return number;
}

// A line end would begin another word.
std::string one_line(std::string_view text)
{
    std::string line{text};
    for (char& letter : line)
        if (letter == '\n') letter = ' ';
    return line;
}

} // namespace

Notify::Notify() : socket_(environment("NOTIFY_SOCKET"))
{
    if (socket_.size() < 2 || (socket_[0] != '/' && socket_[0] != '@') || socket_.size() >= sizeof(sockaddr_un::sun_path)) socket_.clear();
    const auto limit_us = number_in("WATCHDOG_USEC");
    const auto pid = number_in("WATCHDOG_PID");
    if (limit_us && *limit_us > 0 && (!pid || *pid == ::getpid())) alive_every_ = Duration{*limit_us * 1000 / 2};
}

void Notify::say(const std::string& lines) const
{
    if (socket_.empty()) return;
    const int descriptor = ::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (descriptor < 0) return;
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::memcpy(address.sun_path, socket_.data(), socket_.size());
    if (socket_[0] == '@') address.sun_path[0] = '\0';
    const auto size = static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + socket_.size() + (socket_[0] == '@' ? 0 : 1));
    ::sendto(descriptor, lines.data(), lines.size(), MSG_NOSIGNAL, reinterpret_cast<const sockaddr*>(&address), size);
    ::close(descriptor);
}

void Notify::ready(std::string_view status) const { say("READY=1\nSTATUS=" + one_line(status) + "\n"); }
void Notify::status(std::string_view status) const { say("STATUS=" + one_line(status) + "\n"); }
void Notify::reloading() const { say("RELOADING=1\nMONOTONIC_USEC=" + std::to_string(monotonic_ns() / 1000) + "\n"); }
void Notify::stopping(std::string_view status) const { say("STOPPING=1\nSTATUS=" + one_line(status) + "\n"); }
void Notify::alive() const { say("WATCHDOG=1\n"); }

} // namespace bowarm
