#include "midi/ports/systems.hpp"

#include "midi/ports/jack_system.hpp"
#include "midi/ports/listed_system.hpp"

#include <rtmidi/RtMidi.h>

#include <algorithm>

namespace bowarm
{

std::vector<std::string> compiled_systems()
{
    std::vector<RtMidi::Api> apis;
    RtMidi::getCompiledApi(apis);
    std::vector<std::string> names;
    for (const RtMidi::Api api : apis)
        if (api != RtMidi::RTMIDI_DUMMY) names.push_back(RtMidi::getApiName(api));
    std::stable_partition(names.begin(), names.end(), [](const std::string& n) { return n == "jack"; });
    return names;
}

std::unique_ptr<MidiSystem> open_system(std::string_view system, const std::string& client, std::shared_ptr<Wakeup> bell)
{
    if (system == "none") return nullptr;
    if (system != "auto") return system == "jack" ? open_jack(client, std::move(bell)) : open_listed(system, client);
    for (const std::string& name : compiled_systems())
        if (auto opened = name == "jack" ? open_jack(client, bell) : open_listed(name, client)) return opened;
    return nullptr;
}

} // namespace bowarm
