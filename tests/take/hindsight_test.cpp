// Bowing again with the future known: never dearer than live, obeyed by the player, and sensible where a player could say so.
#include "take/hindsight.hpp"

#include "player/random_playing.hpp"
#include "take/performance.hpp"

#include <doctest/doctest.h>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

Recorder played(const PlayerConfig& config, const std::vector<Input>& inputs, const std::vector<PlannedStroke>& plan = {})
{
    Player player(config);
    player.bow_by(plan);
    Recorder take;
    perform(player, inputs, inputs.back().at + milliseconds(1'000), take);
    return take;
}

Input key(std::int64_t ms, int pitch, int velocity)
{
    return midi_input(at_ms(ms), Source{0}, note_on(Channel{}, Midi7::nearest(pitch), Midi7::nearest(velocity)));
}
Input release(std::int64_t ms, int pitch) { return midi_input(at_ms(ms), Source{0}, note_off(Channel{}, Midi7::nearest(pitch))); }

} // namespace

TEST_CASE("hindsight is never dearer than live, on the same take")
{
    int cheaper = 0;
    for (std::uint64_t seed = 1; seed <= 2'000; ++seed) {
        CAPTURE(seed);
        const PlayerConfig config = random_config(seed);
        const auto inputs = random_playing(seed, 60);
        const Hindsight h = bow_again(config.instrument, played(config, inputs));
        CHECK(h.cost <= h.live_cost);
        cheaper += h.cost < h.live_cost - 1e-9;
    }
    CHECK(cheaper > 500); // it does find better ones
}

TEST_CASE("the player bows as planned")
{
    const PlayerConfig config = violin_config();
    std::vector<Input> inputs;
    for (int i = 0; i < 20; ++i) {
        inputs.push_back(key(i * 400, 67 + i % 5, 70));
        inputs.push_back(release(i * 400 + 340, 67 + i % 5));
    }
    const Hindsight h = bow_again(config.instrument, played(config, inputs));
    const Recorder again = played(config, inputs, h.plan);
    REQUIRE(again.decisions().size() == h.plan.size());
    for (std::size_t i = 0; i < h.plan.size(); ++i) CHECK((again.decisions()[i].direction == h.plan[i].direction));
}

TEST_CASE("an odd number of notes before the barline starts up, an even number down (string-class textbook: groups before a barline)")
{
    for (const int before : {1, 2, 3, 4}) {
        CAPTURE(before);
        PlayerConfig config = violin_config();
        std::vector<Input> inputs{tempo_input(at_ms(0), 500'000), meter_input(at_ms(0), 4, 2)};
        std::int64_t at = 2'000 - before * 250;
        for (int i = 0; i < before; ++i, at += 250) {
            inputs.push_back(key(at, 67 + i, 64));
            inputs.push_back(release(at + 220, 67 + i));
        }
        for (int i = 0; i < 8; ++i, at += 500) { // and a bar of quarters with an accent on its first beat
            inputs.push_back(key(at, 74, i % 4 == 0 ? 100 : 64));
            inputs.push_back(release(at + 440, 74));
        }
        const Hindsight h = bow_again(config.instrument, played(config, inputs));
        CHECK((h.plan.front().direction == (before % 2 == 1 ? Direction::up : Direction::down)));
        CHECK((h.plan[static_cast<std::size_t>(before)].direction == Direction::down));
    }
}

TEST_CASE("an empty take has an empty plan")
{
    const Hindsight h = bow_again(violin(), Recorder{});
    CHECK(h.plan.empty());
    CHECK(h.cost == 0);
}

TEST_CASE("a note that gets a bow of its own after all, or is returned to in a trill, keeps its onset in the report")
{
    const PlayerConfig config = violin_config();
    std::vector<Input> inputs{key(0, 69, 70),     key(300, 71, 70),   release(308, 69),   release(500, 71),    // by accident
                              key(1'000, 69, 70), key(1'300, 72, 70), release(1'500, 72), release(1'800, 69)}; // a trill
    const Recorder take = played(config, inputs);
    const std::string text =
        report_json(take, {"violin", "everything", "live", {config.instrument.strings.data(), config.instrument.strings.size()}});
    for (const char* onset : {"\"onset_s\":0.3,", "\"onset_s\":1,", "\"onset_s\":1.3,"}) {
        CAPTURE(onset);
        CHECK(text.find(onset) != std::string::npos);
    }
}
