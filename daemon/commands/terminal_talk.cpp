#include "commands/terminal_talk.hpp"

#include <array>
#include <cerrno>
#include <iostream>
#include <poll.h>
#include <unistd.h>

namespace bowarm
{

TerminalTalk::TerminalTalk(ListeningPorts& ports, const volatile std::sig_atomic_t& stop)
    : ports_(ports), stop_(stop), terminal_(::isatty(STDOUT_FILENO) == 1)
{
}

void TerminalTalk::say(std::string_view line)
{
    std::cout << (showing_ ? "\n" : "") << line << std::endl;
    showing_ = false;
}

// In one place on a terminal; elsewhere the last one is told when it is kept.
void TerminalTalk::show(std::string_view line)
{
    if (!terminal_) return;
    constexpr std::string_view to_line_end = "\x1b[K"; // ECMA-48, EL
    std::cout << '\r' << line << to_line_end << std::flush;
    showing_ = true;
}

std::optional<std::string> TerminalTalk::waiting_line()
{
    const std::size_t end = typed_.find('\n');
    if (end == std::string::npos) return std::nullopt;
    std::string line = typed_.substr(0, end);
    typed_.erase(0, end + 1);
    while (!line.empty() && (line.back() == '\r' || line.back() == ' ')) line.pop_back();
    return line;
}

// What was played comes before what was typed afterwards.
Turn TerminalTalk::next()
{
    while (true) {
        if (const auto message = ports_.take()) return *message;
        if (auto line = waiting_line()) {
            showing_ = false; // the person's Enter ended the line
            return *line;
        }
        if (stop_ != 0) return std::string{"q"};
        if (ended_) return NoMoreAnswers{};
        std::array<pollfd, 2> awaited{{{STDIN_FILENO, POLLIN, 0}, {ports_.descriptor(), POLLIN, 0}}};
        if (::poll(awaited.data(), awaited.size(), -1) < 0 && errno != EINTR) return NoMoreAnswers{};
        if (awaited[0].revents == 0 || awaited[1].revents != 0) continue;
        std::array<char, 256> block{};
        const ssize_t got = ::read(STDIN_FILENO, block.data(), block.size());
        if (got > 0)
            typed_.append(block.data(), static_cast<std::size_t>(got));
        else if (got == 0 || errno != EINTR)
            ended_ = true;
    }
}

} // namespace bowarm
