// How the bow really moved through a performance, sampled at every input and every wake: while it plays, at least each 5 ms.
//   thread   one at a time.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "player/player.hpp"

#include <cstdint>
#include <span>
#include <vector>

namespace bowarm
{

struct MotionSample {
    Time at;
    float hair{0};                               // 0 at the frog, 1 at the tip
    float speed{0};                              // m/s, down positive; 0 where no bow is at work
    float force{0}, force_low{0}, force_high{0}; // N
    float beta{0};
    std::uint32_t strokes{0}; // begun so far
    std::uint8_t string{no_string};
    bool on_string{false};
};

// Between samples the bow moves evenly; where `strokes` has grown it may have been lifted.
class MotionRecord
{
public:
    // desks: of the player that will be looked at.
    explicit MotionRecord(std::size_t desks) : desks_(desks) {}

    void see(const Player& player, Time at);
    std::size_t desks() const { return desks_.size(); }
    std::span<const MotionSample> of_desk(std::size_t desk) const { return desks_[desk]; }

private:
    std::vector<std::vector<MotionSample>> desks_;
};

} // namespace bowarm
