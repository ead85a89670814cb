#include "offline.hpp"

#include "instant.hpp"
#include "sampler.hpp"

#include <algorithm>

namespace bowarm::stand_in
{
namespace
{

std::size_t frame_of(Time at) { return static_cast<std::size_t>(to_seconds(at - Time{}).value * file_rate); }

} // namespace

std::vector<float> played(const StandardFile& file, const Sounds& sounds, std::optional<std::uint64_t> reorder)
{
    Sampler sampler{sounds, file_rate};
    Instant instant{reorder};
    std::vector<float> out;
    const auto go_to = [&](std::size_t frame) {
        if (frame <= out.size()) return;
        instant.happen(sampler);
        const std::size_t before = out.size();
        out.resize(frame);
        sampler.render(std::span{out}.subspan(before));
    };
    for (const FileEvent& event : file.events) {
        const Message* message = event.message();
        if (message == nullptr) continue;
        go_to(frame_of(event.at));
        instant.add(*message, sampler);
    }
    go_to(std::max(frame_of(file.end), out.size() + 1));
    sampler.on(control_change({}, Midi7::nearest(123), Midi7::nearest(0))); // what the file leaves down
    const std::size_t at_most = out.size() + 10 * file_rate;
    while (!sampler.silent() && out.size() < at_most) go_to(out.size() + file_rate / 10);
    go_to(out.size() + file_rate / 5); // the body rings on
    return out;
}

} // namespace bowarm::stand_in
