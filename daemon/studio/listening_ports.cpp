#include "studio/listening_ports.hpp"

#include "midi/ports/monotonic.hpp"

#include <chrono>
#include <thread>
#include <unistd.h>

namespace bowarm
{
namespace
{

constexpr Duration first_look = milliseconds(3000);
constexpr int unavailable = 69; // sysexits
constexpr Duration closing_at_most = milliseconds(1900);

MidiSettings named_apart(MidiSettings settings)
{
    settings.client += " setup";
    return settings;
}

} // namespace

ListeningPorts::ListeningPorts(const MidiSettings& settings, const OpenSystem& open)
    : lines_(std::make_shared<Lines>()), keeper_(named_apart(settings), lines_, open)
{
    lines_->clock.start();
    keeper_.start();
}

// A thread inside the MIDI library may never come back, and would use what a return destroys.
ListeningPorts::~ListeningPorts()
{
    if (!keeper_.finish(closing_at_most)) ::_exit(unavailable);
}

bool ListeningPorts::system_answers()
{
    const std::int64_t until = monotonic_ns() + first_look.ns;
    while (!keeper_.view().looked && monotonic_ns() < until) std::this_thread::sleep_for(std::chrono::milliseconds(5));
    return keeper_.view().system != "none";
}

std::optional<Message> ListeningPorts::take()
{
    lines_->engine_wake.clear();
    Input input;
    for (Feed& feed : lines_->feeds) {
        if (!feed.queue.pop(input)) continue;
        const Message message = as_message(input);
        lines_->engine_wake.ring(); // more may wait
        if (sends_on_) send(message);
        return message;
    }
    return std::nullopt;
}

void ListeningPorts::send(const Message& message)
{
    OutItem item{lines_->clock.now(), 1, {message}, {}, 0};
    for (OutQueue& out : lines_->outs) {
        out.push(item);
        if (out.in_use.load()) out.wake.ring();
    }
}

} // namespace bowarm
