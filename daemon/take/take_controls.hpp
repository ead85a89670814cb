// What a person asks of takes: by commands, by keys, controllers and programs with the actions "take", "keep take" and "hear take",
// and by sending a sequencer back to where it was, as in a cycle.
//   in       the inputs that the engine applied, in order
//   thread   one at a time.  Real-time safe: yes.  Errors: none.
#pragma once

#include "hear/controls.hpp"
#include "hear/input.hpp"

#include <array>
#include <cstdint>

namespace bowarm
{

enum class TakeAction : std::uint8_t { none, begin, end, begin_or_end, keep, hear };

class TakeControls
{
public:
    explicit TakeControls(const Controls& controls) : controls_(controls) {}
    TakeAction heard(const Input& input);
    const Controls& controls() const { return controls_; }

private:
    TakeAction of_controller(Midi7 number, Midi7 value);

    Controls controls_;
    std::array<bool, 64> inside_{}; // of each controller action: so that a pedal counts once on its way down
};

// MIDI 1.0: start, continue, song position (14 bits, in sixteenths of six clocks), clock; counted while it runs.
class SongPlace
{
public:
    // True: the sequencer went back, and another pass begins with this input.
    bool went_back(const Input& input);
    // How many clocks from the beginning of the song the next one will be.
    std::int64_t clocks() const { return clocks_; }

private:
    bool goes_to(std::int64_t clocks);
    std::int64_t clocks_{0};
    bool runs_{false};
};

} // namespace bowarm
