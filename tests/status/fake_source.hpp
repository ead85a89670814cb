// A service with one player, as the status room sees it.
#pragma once

#include "status/status.hpp"

#include <atomic>
#include <cstring>
#include <mutex>
#include <string>
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
    bool command(std::size_t player, Command command, std::uint8_t argument) override
    {
        if (queue_is_full) return false;
        last_command = command;
        last_argument = argument;
        last_player = player;
        if (command == Command::panic) ++panics;
        if (command == Command::alternate_on || command == Command::alternate_off) alternating = command == Command::alternate_on;
        return true;
    }

    void want_facts(bool wanted) override { facts_wanted = wanted; }
    bool next_fact(PlayerFact& fact) override
    {
        const std::lock_guard lock{mutex};
        if (facts.empty()) return false;
        fact = facts.front();
        facts.erase(facts.begin());
        return true;
    }
    std::uint64_t take_lost_facts() override { return lost_facts.exchange(0); }
    bool takes_turns(std::size_t) const override { return turns_are_taken; }
    TakeDesk* takes() override { return takes_are_kept ? &desk : nullptr; }
    SetupDesk* setup() override { return setup_is_possible ? &questions : nullptr; }
    Reloading reload() override { return {false, {"bowarm.toml:3: player: no such key"}}; }
    void log_level(std::string_view level) override { last_level = level; }

    void happens(const Fact& fact)
    {
        const std::lock_guard lock{mutex};
        facts.push_back({0, fact});
    }

    struct Desk final : TakeDesk {
        void start() override { ++started; }
        void stop() override { ++stopped; }
        void hear() override { ++heard; }
        std::string running() override { return "take-2"; }
        std::vector<TakeEntry> list() override { return {{"take-1", 1000}}; }
        int started{0}, stopped{0}, heard{0};
    } desk;

    struct Questions final : SetupDesk {
        bool start(std::string_view part) override
        {
            if (running) return false;
            running = true;
            asked = part;
            return true;
        }
        bool answer(std::string line) override
        {
            if (!running) return false;
            answered = std::move(line);
            return true;
        }
        void stop() override { running = false; }
        SetupState state(std::size_t from) override
        {
            if (from > 0) return {running, running, "cc 11", {}, 1};
            return {running, running, "cc 11", {"LOUDNESS"}, 1};
        }
        bool running{false};
        std::string asked, answered;
    } questions;
    bool setup_is_possible{true};

    Snapshot shown = a_bow_on_the_g_string();
    std::string port_name{"some keyboard"};
    bool queue_is_full{false};
    bool turns_are_taken{true};
    bool alternating{false};
    std::atomic<std::int64_t> snapshots{0};
    std::atomic<int> panics{0};
    std::atomic<Command> last_command{};
    std::atomic<std::uint8_t> last_argument{0};
    std::atomic<std::size_t> last_player{0};
    std::atomic<bool> facts_wanted{false};
    std::atomic<std::uint64_t> lost_facts{0};
    bool takes_are_kept{true};
    std::string last_level;
    std::mutex mutex;
    std::vector<PlayerFact> facts;
};

} // namespace bowarm::test
