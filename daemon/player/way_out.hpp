// From the desks to the Sink: departures in time for a sampler that speaks late, then the budget of a slow cable.
//   in       what they send
//   out      the same through the Sink, later; facts and decisions go on at once
//   thread   the player's.  Real-time safe: yes, no allocation after construction.
//   Errors   more than a cable can carry in its time: the target is made silent, and told everything anew.
#pragma once

#include "player/departures.hpp"
#include "player/desks.hpp"
#include "player/wire.hpp"

#include <optional>

namespace bowarm
{

class WayOut
{
public:
    static bool is_needed(const PlayerConfig& config) noexcept;
    explicit WayOut(const PlayerConfig& config); // allocates

    void on(const Input& input, Desks& desks, Sink& sink) noexcept;
    Time next_wake(const Desks& desks) const noexcept;
    void wake(Desks& desks, Sink& sink) noexcept;

private:
    class Door;
    void start_again(Time at, Desks& desks, Sink& sink) noexcept;

    std::optional<Departures> departures_;
    std::optional<Wire> wire_;
};

} // namespace bowarm
