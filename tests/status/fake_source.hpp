// A service with one player, as the status room sees it.
#pragma once

#include "status/status.hpp"

#include <atomic>
#include <cstring>
#include <vector>

namespace bowarm::test
{

inline Snapshot a_bow_on_the_g_string()
{
    Snapshot s;
    s.at = Time{1'500'000'000};
    std::strcpy(s.name.data(), "first desk");
    std::strcpy(s.instrument.data(), "violin");
    std::strcpy(s.target.data(), "general midi");
    s.sounding = true;
    s.on_string = true;
    s.technique = Technique::detache;
    s.direction = Direction::up;
    s.string = 0;
    s.string_key = 55; // G3, the lowest string of a violin
    s.pitch = 59;
    s.sounding_notes = 1;
    s.hair = HairFraction{0.62};
    s.speed = MetresPerSecond{0.31};
    s.force = Newtons{0.9};
    s.force_low = Newtons{0.2};
    s.force_high = Newtons{1.7};
    s.beta = Beta{0.11};
    s.loudness = Loudness{0.5};
    s.hair_left = Seconds{1.3};
    s.place = BarPlace{4, BeatSource::clock, 2.5, 0.9};
    s.reasons = {Reason::strong_beat, Reason::hair_left, Reason::none};
    s.strokes = 12;
    s.notes = 15;
    s.warnings = 1;
    s.last_warnings[0] = {Time{1'000'000'000}, Warning::hair_runs_out, BarPlace{3, BeatSource::clock, 4, 0.9}};
    return s;
}

class FakeSource final : public StatusSource
{
public:
    std::size_t player_count() const override { return 1; }
    Snapshot snapshot(std::size_t) override
    {
        ++snapshots;
        Snapshot now = shown;
        now.at = Time{snapshots.load()};
        return now;
    }
    ServiceState service() override
    {
        ServiceState state;
        state.midi_system = "none";
        state.version = "0.1.0";
        state.running_s = 12.5;
        state.take_folder = "/takes";
        PortState port;
        port.role = "in";
        port.name = "keys";
        port.state = "open";
        port.connected = {port_name};
        port.messages = 3;
        state.ports = {port};
        state.inputs = 3;
        return state;
    }
    Reloading reload() override { return {false, {"bowarm.toml:3:1: no such key"}}; }
    bool command(Command command, std::uint8_t) override
    {
        if (queue_is_full) return false;
        last_command = command;
        if (command == Command::panic) ++panics;
        if (command == Command::alternate_on || command == Command::alternate_off) alternating = command == Command::alternate_on;
        return true;
    }

    Snapshot shown = a_bow_on_the_g_string();
    std::string port_name{"some keyboard"};
    bool queue_is_full{false};
    bool alternating{false};
    std::atomic<std::int64_t> snapshots{0};
    std::atomic<int> panics{0};
    std::atomic<Command> last_command{};
};

} // namespace bowarm::test
