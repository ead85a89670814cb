// From the engine to the Sink: departures in time for a sampler that speaks late, then the budget of a slow cable.
//   in       what the engine sends
//   out      the same through the Sink, later; facts and decisions go on at once
//   thread   the player's.  Real-time safe: yes, no allocation after construction.
//   Errors   more than a cable can carry in its time: the target is made silent, and told everything anew.
#pragma once

#include "player/departures.hpp"
#include "player/engine.hpp"
#include "player/wire.hpp"

#include <optional>

namespace bowarm
{

class WayOut
{
public:
    static bool is_needed(const PlayerConfig& config) noexcept;
    explicit WayOut(const PlayerConfig& config); // allocates

    void on(const Input& input, Engine& engine, Sink& sink) noexcept;
    Time next_wake(const Engine& engine) const noexcept;
    void wake(Engine& engine, Sink& sink) noexcept;

private:
    class Door;
    void start_again(Time at, Engine& engine, Sink& sink) noexcept;

    std::optional<Departures> departures_;
    std::optional<Wire> wire_;
};

} // namespace bowarm
