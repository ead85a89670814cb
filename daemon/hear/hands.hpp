// Who hears what, where several players share the inputs: by input, channel and range of keys, and by which player is under the hands.
//   in       every input, as it came
//   out      the players it goes to, and the input as each of them hears it (transposed)
//   A note ends on the players it began on, whatever was chosen in between; so do a held pedal, a switch and a bend.
//   Control keys and controllers with an action go to every player that hears the input, whatever its range.
//   thread   the engine's.  Real-time safe: all but the constructor.
//   Errors   none: an input that nobody hears goes to nobody.
#pragma once

#include "base/fixed_vector.hpp"
#include "hear/controls.hpp"
#include "hear/input.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace bowarm
{

inline constexpr std::size_t players_at_most = 64;
inline constexpr std::size_t inputs_at_most = 16;
using PlayerSet = std::uint64_t; // a bit a player
constexpr PlayerSet only(std::size_t player) { return PlayerSet{1} << player; }

// What one input is for.
enum class InputRole : std::uint8_t {
    all,
    playing,     // keys and controllers, no clocks
    controllers, // no keys, no clocks: a box of pedals or faders
    time,        // clocks, song position and time code only
};
struct InputFilter {
    InputRole role{InputRole::all};
    std::optional<Channel> channel; // nothing else is heard, clocks apart
    bool operator==(const InputFilter&) const = default;
};

// What one player hears.
struct Part {
    std::uint16_t inputs{0xFFFF}; // a bit an input of the configuration
    std::optional<Channel> channel;
    Midi7 from{Midi7::nearest(0)}, to{Midi7::nearest(127)}; // keys of a split, both included
    int transpose{0};                                       // semitones
    bool under_hands{false};                                // heard only while it is the player under the hands
};

class Hands
{
public:
    // Parts: 1..players_at_most; an input without a filter is heard whole.
    Hands(std::span<const Part> parts, std::span<const InputFilter> filters, const Controls& controls);

    PlayerSet hear(const Input& input) noexcept;
    // Empty: the transposed key is none, or means something else.
    std::optional<Input> as_heard(const Input& input, std::size_t player) const noexcept;

    // By command, key, controller or program.
    bool asks_for_panic(const Input& input) const noexcept;

    // Which player is under the hands; the first where nobody can be.
    std::size_t chosen() const noexcept { return chosen_; }
    bool choose(std::size_t player) noexcept;
    bool any_key_down() const noexcept { return keys_down_ != 0; }
    // The newest of loudness, contact point and amount, for a player that is chosen or built while the pedals stand somewhere.
    std::span<const Input> pedals() const noexcept { return {pedals_.begin(), pedals_.end()}; }
    // From those of before a reload: the pedals, and the choice where it is still there.
    void take_up(const Hands& before) noexcept;

private:
    PlayerSet hear_message(const Input& input, const Message& message) noexcept;
    PlayerSet hear_key(const Input& input, const Message& message) noexcept;
    PlayerSet hear_controller(const Input& input, const Message& message) noexcept;
    PlayerSet listeners(std::size_t source, Channel channel) const noexcept;
    PlayerSet on_source(std::size_t source) const noexcept;
    PlayerSet kept_of(std::size_t source, const Action& action) const noexcept;
    PlayerSet in_range(PlayerSet players, Midi7 key) const noexcept;
    bool act(const Action& action) noexcept;
    void step(std::size_t by) noexcept;
    void forget_source(std::size_t source) noexcept;
    void remember_pedal(const Input& input, const Message& message) noexcept;
    void set_down(std::size_t key, bool down) noexcept;

    std::vector<Part> parts_;
    std::vector<InputFilter> filters_;
    Controls controls_;
    PlayerSet all_;
    PlayerSet choosable_{0};
    std::size_t chosen_{0};
    std::vector<PlayerSet> keys_; // by source, channel and key: who heard it go down last
    std::vector<bool> down_;      // the same keys
    int keys_down_{0};
    std::vector<PlayerSet> held_; // by source and controller: who heard a switch go on
    std::array<PlayerSet, inputs_at_most> bent_{};
    FixedVector<Input, 3> pedals_;
};

} // namespace bowarm
