// Talk on the terminal: questions on stdout, answers from stdin, messages from the ports.
#pragma once

#include "studio/listening_ports.hpp"
#include "studio/setup_talk.hpp"

#include <csignal>
#include <string>

namespace bowarm
{

class TerminalTalk final : public Talk
{
public:
    // stop: other than 0 ends the answers.
    TerminalTalk(ListeningPorts& ports, const volatile std::sig_atomic_t& stop);
    void say(std::string_view line) override;
    void show(std::string_view line) override;
    Turn next() override;

private:
    std::optional<std::string> waiting_line();

    ListeningPorts& ports_;
    const volatile std::sig_atomic_t& stop_;
    bool terminal_;
    bool showing_{false};
    bool ended_{false};
    std::string typed_;
};

} // namespace bowarm
