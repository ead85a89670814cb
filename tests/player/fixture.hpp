// A violin of plain numbers, a target that can do everything, and a sink that remembers.
#pragma once

#include "player/player.hpp"

#include <cstdint>
#include <vector>

namespace bowarm::test
{

struct Sent {
    Time at;
    Message message;
};

class Memory final : public Sink
{
public:
    void bundle(Time at, std::span<const Message> messages) noexcept override
    {
        ++bundles;
        for (const Message& m : messages) sent.push_back({at, m});
    }
    void curve(Time at, Controller c, int value) noexcept override
    {
        ++curves;
        sent.push_back({at, control_change(c.channel, c.number, Midi7::nearest(value))});
    }
    void fact(const Fact& f) noexcept override { facts.push_back(f); }

    std::vector<Fact> of(FactKind kind) const
    {
        std::vector<Fact> found;
        for (const Fact& f : facts)
            if (f.kind == kind) found.push_back(f);
        return found;
    }
    std::vector<Message> note_ons() const
    {
        std::vector<Message> found;
        for (const Sent& s : sent)
            if (s.message.is_note_on()) found.push_back(s.message);
        return found;
    }

    std::vector<Sent> sent;
    std::vector<Fact> facts;
    int bundles{0};
    int curves{0};
};

// Strings, ranges and hair as in config/instruments/violin.toml, which has the sources.
Instrument violin();
// Keyswitches from 0 on (one a technique, detache with a second one for up-bows), every curve on a controller of its own.
TargetSpec everything_target();
PlayerConfig violin_config();

inline Time at_ms(std::int64_t ms) { return {ms * 1'000'000}; }

// Plays keys at given milliseconds into a player, as a driver does.
class Hands
{
public:
    Hands(Player& player, Memory& memory) : player_(player), memory_(memory) {}
    void input(const Input& i)
    {
        advance(player_, i.at, memory_);
        player_.on(i, memory_);
    }
    void down(std::int64_t ms, int pitch, int velocity = 80)
    {
        input(midi_input(at_ms(ms), Source{0}, note_on(Channel{}, Midi7::nearest(pitch), Midi7::nearest(velocity))));
    }
    void up(std::int64_t ms, int pitch) { input(midi_input(at_ms(ms), Source{0}, note_off(Channel{}, Midi7::nearest(pitch)))); }
    void controller(std::int64_t ms, int number, int value)
    {
        input(midi_input(at_ms(ms), Source{0}, control_change(Channel{}, Midi7::nearest(number), Midi7::nearest(value))));
    }
    void command(std::int64_t ms, Command c, std::uint8_t argument = 0) { input(command_input(at_ms(ms), c, argument)); }
    // A key held for a while.
    void note(std::int64_t ms, int pitch, std::int64_t length, int velocity = 80)
    {
        down(ms, pitch, velocity);
        up(ms + length, pitch);
    }
    void until(std::int64_t ms) { advance(player_, at_ms(ms), memory_); }

private:
    Player& player_;
    Memory& memory_;
};

} // namespace bowarm::test
