// The packaged violin and a tune for it.
#pragma once

#include "studio/configuration.hpp"
#include "take/performance.hpp"
#include "take/take.hpp"

#include <doctest/doctest.h>

#include <cstdint>
#include <cstdlib>
#include <vector>

namespace bowarm::test
{

inline PlayerConfig packaged_violin()
{
    ::setenv("BOWARM_DATA", BOWARM_SOURCE_DIR "/config", 1);
    const Loaded loaded = load_configuration(BOWARM_SOURCE_DIR "/config/bowarm.toml", {});
    REQUIRE(std::holds_alternative<Settings>(loaded));
    return std::get<Settings>(loaded).player;
}

// Small and good enough to choose delays and pitches: the generator of Lehmer, 48271 modulo 2^31 - 1 (Park and Miller).
class Dice
{
public:
    explicit Dice(std::uint32_t seed) : state_(seed) {}
    std::int64_t below(std::int64_t limit)
    {
        state_ = static_cast<std::uint32_t>(std::uint64_t{state_} * 48271 % 2147483647);
        return static_cast<std::int64_t>(state_) % limit;
    }

private:
    std::uint32_t state_;
};

// Notes that touch, overlap and leave gaps, with the loudness pedal moving; about four seconds for forty notes.
inline std::vector<Input> tune(std::uint32_t seed, int notes)
{
    Dice dice{seed};
    std::vector<Input> inputs;
    const Source keyboard{0};
    Time at{1'000'000};
    for (int i = 0; i < notes; ++i) {
        const Midi7 key = Midi7::nearest(60 + dice.below(24));
        inputs.push_back(midi_input(at, keyboard, control_change(Channel{}, Midi7::nearest(11), Midi7::nearest(40 + dice.below(60)))));
        inputs.push_back(midi_input(at, keyboard, note_on(Channel{}, key, Midi7::nearest(30 + dice.below(90)))));
        at = at + milliseconds(30 + dice.below(120));
        inputs.push_back(midi_input(at, keyboard, note_off(Channel{}, key)));
        at = at + milliseconds(dice.below(3) == 0 ? dice.below(300) : 0);
    }
    return inputs;
}

inline std::vector<SentMessage> played_directly(const std::vector<Input>& inputs)
{
    Player player{packaged_violin()};
    Recorder take;
    perform(player, inputs, inputs.back().at, take);
    return take.sent();
}

} // namespace bowarm::test
