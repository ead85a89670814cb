// The ports of the configuration as others may see them.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace bowarm
{

struct PortView {
    struct Port {
        std::string role;  // "in", "out"
        std::string name;  // as configured
        std::string state; // "open", "waiting", "lost", "stalled", "cut" (it brings our own output back)
        std::vector<std::string> connected;
        std::uint64_t messages{0}, dropped{0};
        std::string note{}; // what a person should know; empty: nothing
    };
    std::string system{"none"};
    std::string version;
    std::vector<Port> ports;
    bool looked{false};               // at least once over everything
    std::vector<std::string> missing; // what is needed and is not there, as sentences
};

} // namespace bowarm
