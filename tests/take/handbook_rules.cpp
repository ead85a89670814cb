// What handbooks ask for, played on a keyboard: the bow chosen live, and the bow chosen with hindsight.
#include "take/hindsight.hpp"

#include "player/fixture.hpp"
#include "take/performance.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr int beat = 500; // ms
constexpr int plain = 64; // neither loud nor soft

struct Played {
    int from; // ms
    int length;
    std::vector<int> pitches{67};
    int velocity{plain};
};

std::vector<Input> performance(const std::vector<Played>& notes, BarMeter meter)
{
    std::vector<Input> inputs{tempo_input(at_ms(0), beat * 1000), meter_input(at_ms(0), meter.beats, meter.unit)};
    for (const Played& note : notes) {
        for (const int pitch : note.pitches)
            inputs.push_back(
                midi_input(at_ms(note.from), Source{0}, note_on(Channel{}, Midi7::nearest(pitch), Midi7::nearest(note.velocity))));
        for (const int pitch : note.pitches)
            inputs.push_back(midi_input(at_ms(note.from + note.length), Source{0}, note_off(Channel{}, Midi7::nearest(pitch))));
    }
    std::stable_sort(inputs.begin(), inputs.end(), [](const Input& a, const Input& b) { return a.at < b.at; });
    return inputs;
}

// One letter a stroke, d or u, as decided in the end.
std::string letters(const Recorder& take)
{
    std::string all;
    std::uint32_t last = no_number;
    for (const Fact& f : take.facts()) {
        if (f.kind != FactKind::stroke_began || f.forced) continue;
        if (f.stroke == last) all.pop_back();
        all += f.direction == Direction::down ? 'd' : 'u';
        last = f.stroke;
    }
    return all;
}

struct Bowings {
    std::string live, hindsight;
};

Bowings bowed(const std::vector<Played>& notes, BarMeter meter)
{
    const PlayerConfig config = violin_config();
    const std::vector<Input> inputs = performance(notes, meter);
    const auto play = [&](const std::vector<PlannedStroke>& plan) {
        Player player(config);
        player.bow_by(plan);
        Recorder take;
        perform(player, inputs, inputs.back().at + milliseconds(1'000), take);
        return take;
    };
    const Recorder live = play({});
    return {letters(live), letters(play(bow_again(config.instrument, live).plan))};
}

Bowings bowed(const std::vector<Played>& notes, std::uint8_t beats_in_bar = 4) { return bowed(notes, BarMeter{beats_in_bar, 2}); }

// Separate notes one after another, each filling nine tenths of its time; a length below 0 is a rest.
std::vector<Played> line(std::initializer_list<int> lengths, int from = 0)
{
    std::vector<Played> notes;
    for (const int length : lengths) {
        if (length > 0) notes.push_back({from, length * 9 / 10});
        from += length < 0 ? -length : length;
    }
    return notes;
}

} // namespace

TEST_CASE("separate notes alternate (L. Mozart 1756, ch. 4, from memory)")
{
    const Bowings b = bowed(line({beat, beat, beat, beat, beat, beat, beat, beat}));
    CHECK(b.live == "dudududu");
    CHECK(b.hindsight == "dudududu");
}

TEST_CASE("a pickup is up, the bar after it down (K. W. Gehrkens, Essentials in Conducting, 1919)")
{
    const Bowings b = bowed(line({-3 * beat, beat, beat, beat, beat, beat}));
    CHECK(b.live == "ududu");
    CHECK(b.hindsight == "ududu");
}

TEST_CASE("after a rest two strokes before the barline begin down, three up (string-class textbook, guidelines for bowing)")
{
    const Bowings two = bowed(line({beat, beat, beat, -3 * beat, beat, beat, beat}));
    CHECK(two.live == "duddud");
    CHECK(two.hindsight == "duddud");
    const Bowings three = bowed(line({beat, beat, beat, beat, -5 * beat, beat, beat, beat, beat}));
    CHECK(three.live == "duduudud");
    CHECK(three.hindsight == "duduudud");
}

TEST_CASE("a slurred group counts as one stroke (Broadley, Chats to 'Cello Students, 1899)")
{
    // Beats 3 and 4 slurred: one stroke before the bar, so it goes up.
    std::vector<Played> notes = line({beat, beat, beat, beat}, 0);
    notes.push_back({6 * beat, beat + 60, {67}});
    notes.push_back({7 * beat, beat * 9 / 10, {69}});
    notes.push_back({8 * beat, beat * 9 / 10, {71}});
    CHECK(bowed(notes).hindsight == "duduud");
}

TEST_CASE("the strong beat after a rest is down again (Green 1990, from memory)")
{
    const Bowings b = bowed(line({beat, beat, beat, -beat, beat, beat}));
    CHECK(b.live == "duddu");
    CHECK(b.hindsight == "duddu");
}

TEST_CASE("repeated dotted pairs are hooked (M. Rabin & P. Smith 1984 name the style, Green 1990 the rule, both from memory)")
{
    const int dotted = beat * 3 / 4;
    const int quick = beat / 4;
    const Bowings b = bowed(line({dotted, quick, dotted, quick, dotted, quick, dotted, quick, beat}));
    CHECK(b.hindsight == "dduudduud");
    const std::string heard = b.live.substr(b.live.size() - 5); // once the figure has been heard
    CHECK((heard == "dduud" || heard == "uuddu"));
}

TEST_CASE("in compound time quarter and eighth are hooked when they go on so, in simple time they alternate (common practice, no source)")
{
    std::vector<Played> pairs;
    for (int from = 0; from < 6 * beat; from += 3 * beat / 2) {
        pairs.push_back({from, beat * 8 / 10});
        pairs.push_back({from + beat, beat * 4 / 10});
    }
    pairs.push_back({6 * beat, beat});
    CHECK(bowed(pairs, BarMeter{6, 3}).hindsight == "dduudduud");
    const std::string heard = bowed(pairs, BarMeter{6, 3}).live.substr(4);
    CHECK((heard == "dduud" || heard == "uuddu"));
    CHECK(bowed(pairs, BarMeter{3, 2}).live == "dudududud");
}

TEST_CASE("a run of forte chords goes down each time (string-class textbook: chords, and Galamian 1962, from memory)")
{
    std::vector<Played> notes;
    for (int i = 0; i < 4; ++i) notes.push_back({i * beat, beat * 9 / 10, {55, 62, 71}, 110});
    const Bowings b = bowed(notes);
    CHECK(b.live == "dddd");
    CHECK(b.hindsight == "dddd");
}

TEST_CASE("broad chords without a rest alternate (common practice, no source)")
{
    const std::vector<int> chord{55, 62, 71, 79};
    std::vector<Played> notes;
    for (int i = 0; i < 6; ++i) notes.push_back({i * 700, 650, chord, 115});
    const Bowings b = bowed(notes, 6);
    CHECK(b.live == "dududu");
    CHECK(b.hindsight == "dududu");
}

// A made-up tune of quarters and eighths; in the first bar nothing shows yet that it stays on the low strings.
TEST_CASE("a loud tune on the low strings is struck down again and again, an even run is not (common practice, no source)")
{
    const std::vector<int> tune{62, 60, 59, 57, 60, 59, 57, 55, 57, 59, 60, 62, 60, 59, 57, 55};
    const std::vector<int> lengths{400, 200, 200, 400, 400, 200, 200, 400, 400, 200, 200, 400, 400, 200, 200, 400};
    std::vector<Played> notes, run;
    int from = 0;
    for (std::size_t i = 0; i < tune.size(); ++i) {
        notes.push_back({from, lengths[i] * 9 / 10, {tune[i]}, 95});
        run.push_back({static_cast<int>(i) * 200, 180, {tune[i]}, 95});
        from += lengths[i];
    }
    const Bowings b = bowed(notes);
    CHECK(b.live.substr(9) == "ddddddd");
    CHECK(b.hindsight == "dddddddddddddddd");
    const Bowings even = bowed(run);
    CHECK(even.live == "dudududududududu");
    CHECK(even.hindsight == "dudududududududu");
}

TEST_CASE("in triple time with one note a beat the bars alternate by themselves (Green 1990, from memory)")
{
    const Bowings b = bowed(line({beat, beat, beat, beat, beat, beat, beat, beat, beat}), 3);
    CHECK(b.live == "dudududud");
    CHECK(b.hindsight == "dudududud");
}

TEST_CASE("after a rest a soft start comes up from the tip, a loud one down from the frog (common practice, no source)")
{
    // Off the beat, with the bar's end far and no count to go by.
    for (const auto& [velocity, letter] : {std::pair{36, 'u'}, std::pair{110, 'd'}}) {
        std::vector<Played> notes = line({beat, beat, beat, beat});
        notes.push_back({4 * beat + beat + 125, beat / 5, {67}, velocity});
        const Bowings b = bowed(notes);
        CHECK(b.live.back() == letter);
        CHECK(b.hindsight.back() == letter);
    }
}

TEST_CASE("a long last note is a down-bow, known with hindsight (Green 1990, from memory)")
{
    const Bowings b = bowed(line({beat, beat, beat, -beat, -beat, 3 * beat}));
    CHECK(b.hindsight.back() == 'd');
}

TEST_CASE("a figure that returns is bowed as before (common practice, no source)")
{
    // The same three notes at the same place of four bars, after rests.
    std::vector<Played> notes;
    for (int bar = 0; bar < 4; ++bar)
        for (int i = 4; i < 7; ++i) notes.push_back({bar * 4 * beat + i * beat / 2, beat * 9 / 20});
    const Bowings b = bowed(notes);
    CHECK(b.hindsight.substr(0, 3) == b.hindsight.substr(3, 3));
    CHECK(b.hindsight.substr(3, 3) == b.hindsight.substr(6, 3)); // the last one has nothing after it and is another figure
    CHECK(b.live.substr(6, 3) == b.live.substr(9, 3));           // live has heard it by then
}

TEST_CASE(
    "a short loud note alone between rests, before a longer one, is its pickup: up, known with hindsight (common practice, no source)")
{
    const std::vector<Played> notes{
        {3 * beat + beat / 2, beat / 3, {67}, 112}, {5 * beat, 2 * beat, {67}, 112}, {8 * beat, beat, {67}, 112}};
    CHECK(bowed(notes).hindsight.substr(0, 2) == "ud");
}

TEST_CASE("bars whose rhythm returns are bowed alike with hindsight (common practice, no source)")
{
    // Five strokes a bar in 4/4: left alone, every other bar would begin up.
    std::vector<Played> notes;
    for (int bar = 0; bar < 6; ++bar)
        for (const auto &[from, length] : {std::pair{0, 2}, {2, 2}, {4, 1}, {5, 1}, {6, 2}})
            notes.push_back({bar * 4 * beat + from * beat / 2, length * beat / 2 * 9 / 10, {67}, from == 0 ? 90 : plain});
    const std::string strokes = bowed(notes).hindsight;
    REQUIRE(strokes.size() == 30);
    int down = 0;
    for (std::size_t bar = 0; bar < 6; ++bar) down += strokes[5 * bar] == 'd';
    CHECK(down >= 5);
}
