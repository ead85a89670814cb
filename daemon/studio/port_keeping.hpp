// What both halves of the port keeper share: the settings, the ways to the engine, and how things are said once.
//   thread   the keeper's alone.  Real-time safe: no.
#pragma once

#include "midi/port.hpp"
#include "midi/ports/port_names.hpp"
#include "studio/configuration.hpp"
#include "studio/lines.hpp"
#include "studio/port_view.hpp"
#include "studio/undertaker.hpp"

#include <algorithm>
#include <memory>
#include <set>
#include <string>
#include <vector>

namespace bowarm
{

using Names = std::vector<std::string>;

inline bool holds(const Names& names, const std::string& name) { return std::find(names.begin(), names.end(), name) != names.end(); }
inline bool lacks_any(const Names& now, const Names& before)
{
    return std::any_of(before.begin(), before.end(), [&](const std::string& n) { return !holds(now, n); });
}
std::string joined(const Names& names); // "nothing" when empty

// Every wish of a list that is met, each name once; and what could not be chosen, as sentences.
struct Met {
    Names names;
    Names unclear;
};
Met met(const Names& wishes, const Names& offered);

struct PortKeeping {
    MidiSettings settings;
    std::shared_ptr<Lines> lines;
    Undertaker undertaker;
    std::set<std::string> said;

    // What is seen beside it may change as often as it likes.
    void say_once(const std::string& text, const std::string& detail = {});
    // Names of our clients: the first of a configured port is plain, further ones are numbered.
    std::string client_name(const std::string& name, std::size_t number) const
    {
        return settings.client + " " + name + (number < 2 ? "" : " " + std::to_string(number));
    }
};

} // namespace bowarm
