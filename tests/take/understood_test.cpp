// What is found out about a take once the whole of it has been heard.  The pieces are invented by rule; what the rule put in is
// what has to be found.
#include "take/understood.hpp"

#include "player/random_playing.hpp"
#include "take/bar_lines.hpp"
#include "take/held_notes.hpp"
#include "take/meant_overlaps.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cstdlib>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr Seconds chord_window{0.030};

// Nearly normal: the sum of four even chances (their spread is 1/sqrt(3) of the width).
int spread(Dice& dice, int milliseconds)
{
    int sum = 0;
    for (int i = 0; i < 4; ++i) sum += dice.below(2'000) - 1'000;
    return sum * milliseconds * 866 / 2'000'000;
}

// A line in groups of slurs and of separate notes by a hand that places onsets within so many milliseconds (one standard deviation).
struct Line {
    std::vector<Input> inputs;
    std::vector<bool> slurred; // into the next
};

Line line_by(Dice& dice, int notes, int onset_ms, int overlap_ms)
{
    constexpr std::array lengths{150, 300, 300, 600};
    std::vector<int> length, onset;
    Line line;
    bool slurs = false;
    int at = 500;
    for (int i = 0; i < notes; ++i) {
        if (i % 6 == 0) slurs = dice.one_in(2);
        line.slurred.push_back(slurs && i % 6 != 5);
        length.push_back(i % 6 == 0 || length.empty() ? lengths[static_cast<std::size_t>(dice.below(4))] : length.back());
        const int earliest = onset.empty() ? 0 : onset.back() + 40;
        onset.push_back(std::max(earliest, at + spread(dice, onset_ms)));
        at += length.back();
    }
    onset.push_back(at);
    for (std::size_t i = 0; i < length.size(); ++i) {
        const auto pitch = Midi7::nearest(60 + static_cast<int>(i * 5 % 12));
        const int off = line.slurred[i] ? onset[i + 1] + std::max(3, 25 + spread(dice, overlap_ms)) : onset[i] + length[i] * 9 / 10;
        line.inputs.push_back(midi_input(at_ms(onset[i]), Source{0}, note_on(Channel{}, pitch, Midi7::nearest(70))));
        line.inputs.push_back(midi_input(at_ms(off), Source{0}, note_off(Channel{}, pitch)));
    }
    std::stable_sort(line.inputs.begin(), line.inputs.end(), [](const Input& a, const Input& b) { return a.at < b.at; });
    return line;
}

struct Mistakes {
    int overlaps_of_separate{0}, left{0}; // of accidental overlaps, and those still there
    int slurs{0}, cut{0};
};

Mistakes mistakes_of(const Line& line)
{
    Mistakes m;
    const auto before = held_notes(line.inputs, chord_window);
    const auto meant = with_overlaps_as_meant(line.inputs, chord_window);
    const auto after = held_notes(meant ? *meant : line.inputs, chord_window);
    REQUIRE(before.size() == line.slurred.size() - 1);
    REQUIRE(after.size() == before.size());
    for (std::size_t i = 0; i < before.size(); ++i) {
        const bool overlapped = before[i].overlap() > Seconds{0.002};
        const bool overlaps = after[i].overlap() > Seconds{0.002};
        if (line.slurred[i]) {
            ++m.slurs;
            m.cut += overlapped && !overlaps;
        } else {
            m.overlaps_of_separate += overlapped;
            m.left += overlaps;
        }
    }
    return m;
}

Recorder played(const PlayerConfig& config, const std::vector<Input>& inputs)
{
    const Piece piece{config, inputs, inputs.back().at + milliseconds(1'000)};
    return bow_live(piece, {}).take;
}

// A bar with its first note long and struck, the rest short; a pickup of one beat.
void add_bars(std::vector<Input>& inputs, Dice& dice, int& at, int bars, int beats)
{
    constexpr int beat = 500;
    for (int i = 0; i < bars * beats; ++i) {
        const bool first = i % beats == 0;
        const auto pitch = Midi7::nearest(first ? 55 : 62 + dice.below(8));
        const auto velocity = Midi7::nearest(first ? 96 : 62);
        const int onset = at + spread(dice, 8);
        inputs.push_back(midi_input(at_ms(onset), Source{0}, note_on(Channel{}, pitch, velocity)));
        const int length = first ? beat * 95 / 100 : beat / 2;
        inputs.push_back(midi_input(at_ms(onset + length), Source{0}, note_off(Channel{}, pitch)));
        at += beat;
    }
}

std::vector<Input> waltz(Dice& dice, int bars)
{
    std::vector<Input> inputs{tempo_input(at_ms(0), 500'000)};
    inputs.push_back(midi_input(at_ms(600), Source{0}, note_on(Channel{}, Midi7::nearest(67), Midi7::nearest(60))));
    inputs.push_back(midi_input(at_ms(850), Source{0}, note_off(Channel{}, Midi7::nearest(67))));
    int at = 1'100; // the tempo is told, where the beats are is not
    add_bars(inputs, dice, at, bars, 3);
    return inputs;
}

} // namespace

TEST_CASE("held notes: a line, a chord, a key held under others, and keys that a lost port lets go")
{
    const auto key = [](int ms, int pitch, bool down) {
        const auto p = Midi7::nearest(pitch);
        return midi_input(at_ms(ms), Source{0}, down ? note_on(Channel{}, p, Midi7::nearest(70)) : note_off(Channel{}, p));
    };
    const std::vector<Input> inputs{key(0, 60, true),
                                    key(300, 62, true),
                                    key(320, 60, false),
                                    key(600, 62, false),
                                    key(700, 48, true),
                                    key(710, 55, true),
                                    key(1'000, 48, false),
                                    key(1'100, 55, false),
                                    key(1'200, 50, true),
                                    key(1'500, 60, true),
                                    key(1'700, 60, false),
                                    key(1'800, 62, true),
                                    {at_ms(1'900), Source{0}, InputKind::port_lost, {}},
                                    key(2'000, 64, true)};
    const auto notes = held_notes(inputs, chord_window);
    REQUIRE(notes.size() == 6); // the last has no next
    CHECK(notes[0].held().value == doctest::Approx(0.320));
    CHECK(notes[0].overlap().value == doctest::Approx(0.020));
    CHECK(notes[0].key_up == 2);
    CHECK(notes[0].in_a_line);
    CHECK(notes[1].overlap().value == doctest::Approx(-0.100));
    CHECK(!notes[2].in_a_line); // two keys
    CHECK(notes[2].off == at_ms(1'100));
    CHECK(!notes[3].in_a_line); // stays down under the next but one
    CHECK(!notes[4].in_a_line); // over that key
    CHECK(!notes[5].in_a_line); // let go by no hand
}

TEST_CASE("accidental overlaps are told from slurs by the whole of a hand's playing")
{
    Mistakes loose, exact;
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        Dice dice(seed);
        for (auto [onset_ms, all] : {std::pair{25, &loose}, std::pair{8, &exact}}) {
            const Mistakes m = mistakes_of(line_by(dice, 300, onset_ms, 6));
            all->overlaps_of_separate += m.overlaps_of_separate;
            all->left += m.left;
            all->slurs += m.slurs;
            all->cut += m.cut;
        }
    }
    MESSAGE("loose hand: ", loose.left, " of ", loose.overlaps_of_separate, " accidents left, ", loose.cut, " of ", loose.slurs,
            " slurs cut; exact: ", exact.left, " of ", exact.overlaps_of_separate, ", ", exact.cut, " of ", exact.slurs);
    REQUIRE(loose.overlaps_of_separate > 300);
    CHECK(loose.left * 4 < loose.overlaps_of_separate);
    CHECK(loose.cut * 25 < loose.slurs);
    CHECK(exact.cut * 100 < exact.slurs);
}

TEST_CASE("what was played stays what it was but for the ends of keys, in order of time")
{
    int changed = 0;
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        CAPTURE(seed);
        const auto inputs = seed % 2 == 0 ? random_two_voices(seed, 200) : random_playing(seed, 400);
        const auto meant = with_overlaps_as_meant(inputs, chord_window);
        if (!meant) continue;
        ++changed;
        REQUIRE(meant->size() == inputs.size());
        CHECK(std::is_sorted(meant->begin(), meant->end(), [](const Input& a, const Input& b) { return a.at < b.at; }));
        const auto rest_of = [](const std::vector<Input>& all) {
            std::vector<Input> rest;
            for (const Input& i : all)
                if (i.kind != InputKind::midi || !as_message(i).is_note_off()) rest.push_back(i);
            return rest;
        };
        const auto a = rest_of(inputs), b = rest_of(*meant);
        REQUIRE(a.size() == b.size());
        for (std::size_t i = 0; i < a.size(); ++i) {
            CHECK(a[i].at == b[i].at);
            CHECK((a[i].data == b[i].data));
        }
        const auto held = held_notes(*meant, chord_window);
        CHECK(std::all_of(held.begin(), held.end(), [](const HeldNote& n) { return n.off >= n.on; }));
    }
    CHECK(changed > 20);
}

TEST_CASE("bar lines nobody told are found over the whole take, a pickup before the first of them too")
{
    const PlayerConfig config = violin_config();
    int right = 0;
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        Dice dice(seed);
        const auto found = bar_lines_of(played(config, waltz(dice, 30)));
        REQUIRE(!found.empty());
        const double off = to_seconds(found[0].at - at_ms(1'100)).value / 1.5; // bars
        const double nearest_line = off < 0 ? off - static_cast<int>(off - 0.5) : off - static_cast<int>(off + 0.5);
        const bool line = std::abs(nearest_line) < 0.1 && found[0].at <= at_ms(600);
        right += found.size() == 1 && found[0].data[0] == 3 && line && found[0].source == source_hindsight;
    }
    CHECK(right >= 18);
}

TEST_CASE("a change of meter is found where it goes on for long, and nothing is guessed that was told")
{
    const PlayerConfig config = violin_config();
    Dice dice(7);
    std::vector<Input> inputs{tempo_input(at_ms(0), 500'000)};
    int at = 100;
    add_bars(inputs, dice, at, 150, 3);
    const int seam = at;
    add_bars(inputs, dice, at, 60, 4);
    const auto found = bar_lines_of(played(config, inputs));
    REQUIRE(found.size() == 2);
    CHECK(int{found[0].data[0]} == 3);
    CHECK(found[1].data[0] % 2 == 0); // where only first beats are struck, a bar of four is as good as two of two
    CHECK(std::abs(to_seconds(found[1].at - at_ms(seam)).value) < 20);

    auto told = inputs;
    told.insert(told.begin() + 1, meter_input(at_ms(0), 3, 2));
    CHECK(bar_lines_of(played(config, told)).empty());
    auto no_tempo = inputs;
    no_tempo.erase(no_tempo.begin());
    CHECK(bar_lines_of(played(config, no_tempo)).empty());
    CHECK(bar_lines_of(Recorder{}).empty());
}

TEST_CASE("as understood, hindsight is no dearer than live on the same reading, and the take keeps what was told, not what was guessed")
{
    const PlayerConfig config = violin_config();
    int cheaper = 0;
    for (std::uint64_t seed = 1; seed <= 100; ++seed) {
        CAPTURE(seed);
        Dice dice(seed);
        const auto inputs = seed % 2 == 0 ? waltz(dice, 12) : line_by(dice, 60, 20, 6).inputs;
        const Piece piece{config, inputs, inputs.back().at + milliseconds(1'000)};
        const Recorder live = bow_live(piece, {}).take;
        Hindsight h;
        const Recorder again = bow_as_understood(piece, live, {}, h).take;
        CHECK(h.regret() >= 0);
        cheaper += h.regret() > 0;
        const auto meters =
            std::count_if(again.inputs().begin(), again.inputs().end(), [](const Input& i) { return i.kind == InputKind::meter; });
        CHECK(meters == 0);
    }
    CHECK(cheaper > 20);
}

TEST_CASE("a take keeps what was played and what was heard again, and nothing that hindsight found")
{
    Recorder take;
    for (const Source source : {Source{0}, source_again, source_service, source_file, source_hindsight}) {
        Input input = meter_input(at_ms(10), 3, 2);
        input.source = source;
        take.input(input);
    }
    CHECK(take.inputs().size() == 4);
}
