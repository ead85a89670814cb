// Tells the hands by lamps, rings or motor faders what the bow of the player under them does.
//   in       snapshots of that player
//   out      messages, only what changed: hair left as 0..127; down, up and warning as 127 or 0, of a controller or as a note
//   A warning is lit until the next stroke.
//   thread   the engine's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/fixed_vector.hpp"
#include "player/player.hpp"

#include <array>
#include <optional>

namespace bowarm
{

enum class LampKind : std::uint8_t { none, note, control_change };
struct Lamp {
    LampKind kind{LampKind::none};
    Midi7 number;
};
struct LampSettings {
    std::optional<std::size_t> output; // of midi.outputs; empty: no lamps
    Channel channel;
    Lamp hair_left, down, up, warning;
};

class Lamps
{
public:
    explicit Lamps(const LampSettings& settings) : settings_(settings) { shown_.fill(-1); }
    using Messages = FixedVector<Message, 4>;
    Messages show(const Snapshot& snapshot) noexcept;
    // They were dark, or showed who knows what.
    void forget() noexcept { shown_.fill(-1); }

private:
    void set(Messages& messages, std::size_t place, const Lamp& lamp, int value) noexcept;

    LampSettings settings_;
    std::array<int, 4> shown_{};
    std::uint32_t warnings_{0}, strokes_{0};
    bool warned_{false};
};

} // namespace bowarm
