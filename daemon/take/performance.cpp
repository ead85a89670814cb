#include "take/performance.hpp"

#include <algorithm>
#include <bitset>
#include <map>

namespace bowarm
{

namespace
{

constexpr Duration rest_at_most = milliseconds(60'000);

Input input_of(Time at, Source keyboard, const Message& message) { return midi_input(at, keyboard, message); }
Input input_of(Time at, Source, TempoChange tempo) { return tempo_input(at, tempo.microseconds_per_quarter); }
Input input_of(Time at, Source, MeterChange meter) { return meter_input(at, meter.beats, meter.beat_as_power_of_two); }

void advance_and_see(Player& player, Time t, Sink& sink, MotionRecord* motion)
{
    if (motion == nullptr) return advance(player, t, sink);
    while (player.next_wake() <= t && player.next_wake() != Time::never()) {
        const Time at = player.next_wake();
        player.wake(sink);
        motion->see(player, at);
    }
}

void apply(Player& player, const Input& input, Sink& sink, Recorder& take, MotionRecord* motion)
{
    advance_and_see(player, input.at, sink, motion);
    take.input(input);
    player.on(input, sink);
    if (motion != nullptr) motion->see(player, input.at);
}

std::vector<Source> sources_left_down(std::span<const Input> inputs)
{
    std::map<std::uint8_t, std::bitset<16 * 128>> down; // by source
    for (const Input& input : inputs) {
        if (input.kind != InputKind::midi) continue;
        const Message message = as_message(input);
        const std::size_t key = message.channel().get() * 128U + message.first().get();
        if (message.is_note_on()) down[input.source.number].set(key);
        if (message.is_note_off()) down[input.source.number].reset(key);
    }
    std::vector<Source> left;
    for (const auto& [source, keys] : down)
        if (keys.any()) left.push_back({source});
    return left;
}

} // namespace

std::vector<Input> inputs_of(const StandardFile& file, Source keyboard)
{
    std::vector<Input> inputs;
    inputs.reserve(file.events.size());
    for (const FileEvent& event : file.events) {
        if (const auto* message = event.message()) inputs.push_back(input_of(event.at, keyboard, *message));
        if (const auto* tempo = std::get_if<TempoChange>(&event.what)) inputs.push_back(input_of(event.at, keyboard, *tempo));
        if (const auto* meter = std::get_if<MeterChange>(&event.what)) inputs.push_back(input_of(event.at, keyboard, *meter));
    }
    return inputs;
}

bool leaves_keys_down(std::span<const Input> inputs) { return !sources_left_down(inputs).empty(); }

bool come_to_rest(Player& player, std::span<const Input> inputs, Time end, Sink& sink, Recorder& take, MotionRecord* motion)
{
    end = std::max(end, inputs.empty() ? end : inputs.back().at);
    for (const Source source : sources_left_down(inputs)) apply(player, {end, source, InputKind::port_lost, {}}, sink, take, motion);
    const Time latest = end + rest_at_most;
    advance_and_see(player, latest, sink, motion);
    if (player.next_wake() == Time::never()) return true;
    apply(player, command_input(latest, Command::panic), sink, take, motion);
    return false;
}

bool perform(Player& player, std::span<const Input> inputs, Time end, Recorder& take, MotionRecord* motion)
{
    for (const Input& input : inputs) apply(player, input, take, take, motion);
    return come_to_rest(player, inputs, end, take, take, motion);
}

} // namespace bowarm
