// A player under hands, and what it did: the stage of most tests of the engine.
#pragma once

#include "player/fixture.hpp"

#include <utility>
#include <vector>

namespace bowarm::test
{

struct Scene {
    explicit Scene(PlayerConfig c = violin_config()) : config(std::move(c)), player(config) {}
    std::vector<Fact> of(FactKind kind) const { return memory.of(kind); }
    Snapshot now() const
    {
        Snapshot s;
        player.read(s);
        return s;
    }
    void choose(Technique t, std::int64_t ms = 0) { hands.command(ms, Command::select_technique, static_cast<std::uint8_t>(t)); }
    int warned(Warning w) const
    {
        int n = 0;
        for (const Fact& f : of(FactKind::warning)) n += f.warning == w;
        return n;
    }

    PlayerConfig config;
    Memory memory;
    Player player;
    Hands hands{player, memory};
};

inline std::vector<Direction> directions(const Memory& m)
{
    std::vector<Direction> d;
    for (const Fact& f : m.of(FactKind::stroke_began)) d.push_back(f.direction);
    return d;
}

// Milliseconds for which each note of that key sounded at the target.
inline std::vector<double> lengths(const Memory& memory, int key)
{
    std::vector<double> found;
    Time since{};
    for (const Sent& s : memory.sent) {
        if (s.message.first().get() != key || s.message.kind() == MessageKind::control_change) continue;
        if (s.message.is_note_on()) since = s.at;
        if (s.message.is_note_off()) found.push_back(static_cast<double>((s.at - since).ns) * 1e-6);
    }
    return found;
}

// Seconds a note of this velocity lasts on one bow from the frog before the bow has to change; 0: it never had to.
inline double seconds_to_change(int velocity)
{
    Scene s;
    s.hands.down(0, 69, velocity);
    s.hands.until(60'000);
    const auto parts = s.of(FactKind::part_ended);
    return parts.empty() ? 0 : to_seconds(parts[0].at - parts[0].began).value;
}

} // namespace bowarm::test
