// Which double stops and chords the shipped instruments can play, and why not the others.
#include "bow/chord.hpp"
#include "studio/configuration.hpp"

#include <doctest/doctest.h>
#include <vector>

using namespace bowarm;

namespace
{

Instrument shipped(const std::string& name)
{
    const Loaded loaded = load_configuration(std::filesystem::path(BOWARM_SOURCE_DIR) / "config" / "bowarm.toml", {name, "general-midi"});
    REQUIRE(std::holds_alternative<Settings>(loaded));
    return std::get<Settings>(loaded).player.instrument;
}

Unplayable why(const Instrument& instrument, const std::vector<int>& keys)
{
    std::vector<Midi7> notes;
    for (const int key : keys) notes.push_back(Midi7::nearest(key));
    return finger_chord(instrument, notes).why;
}

struct Row {
    const char* instrument;
    const char* what;
    std::vector<int> keys;
    Unplayable expected;
};

} // namespace

TEST_CASE("double stops and chords of the four instruments, and the reason where there is no way")
{
    constexpr auto yes = Unplayable::no;
    // C. Forsyth, Orchestration, 1914: p. 316 an open string with its neighbour; p. 317 thirds, sixths, fourths.  Two notes below
    // the second string need the lowest one, and close triads need a string twice: geometry of the tuning.  Chords marked so
    // stand in J. S. Bach's solo works (from memory).  The other bounds: geometry with the lengths of the files.
    const Row rows[] = {
        {"violin", "open D and A", {62, 69}, yes},
        {"violin", "third, both stopped: p. 317", {67, 71}, yes},
        {"violin", "sixth, both stopped: p. 317", {64, 73}, yes},
        {"violin", "fourth, both stopped: p. 317", {64, 69}, yes},
        {"violin", "open string with a high note on its neighbour: p. 316", {62, 84}, yes},
        {"violin", "fifth under one finger: common practice, no source", {64, 71}, yes},
        {"violin", "octave, first and fourth finger: common practice, no source", {64, 76}, yes},
        {"violin", "tenth in the low positions", {57, 73}, Unplayable::too_wide},
        {"violin", "tenth high up: solo works (from memory)", {69, 85}, yes},
        {"violin", "an octave and a half, high up", {79, 97}, Unplayable::too_wide},
        {"violin", "second on the lowest string", {55, 57}, Unplayable::same_string},
        {"violin", "fourth on the lowest string", {56, 61}, Unplayable::same_string},
        {"violin", "lowest and highest string", {57, 83}, Unplayable::strings_apart},
        {"violin", "G major on four strings", {55, 62, 71, 79}, yes},
        {"violin", "D minor on three strings: Bach", {62, 69, 77}, yes},
        {"violin", "C major, wide", {55, 64, 72, 79}, yes},
        {"violin", "close triad", {60, 64, 67}, Unplayable::same_string},
        {"violin", "close triad from the open string", {55, 59, 62}, Unplayable::same_string},
        {"violin", "five notes", {55, 62, 69, 76, 83}, Unplayable::too_many_notes},
        {"violin", "a note below it", {50, 62}, Unplayable::out_of_range},
        {"viola", "sixth, both stopped", {57, 66}, yes},
        {"viola", "octave, first and fourth finger", {57, 69}, yes},
        {"viola", "both below the second string", {50, 53}, Unplayable::same_string},
        {"viola", "C major on four strings", {48, 55, 64, 72}, yes},
        {"cello", "sixth, both stopped", {45, 53}, yes},
        {"cello", "fifth under one finger", {45, 52}, yes},
        {"cello", "ninth, both stopped low: a fifth between first and fourth finger", {38, 52}, Unplayable::too_wide},
        {"cello", "tenth in the low positions", {38, 54}, Unplayable::too_wide},
        {"cello", "octave with the thumb", {62, 74}, yes},
        {"cello", "both below the second string", {37, 41}, Unplayable::same_string},
        {"cello", "C major on four strings", {36, 43, 52, 60}, yes},
        {"cello", "G major on three strings from the open G: Bach, solo works (from memory)", {43, 50, 59}, yes},
        {"double-bass", "open A and D", {33, 38}, yes},
        {"double-bass", "fourth under one finger", {30, 35}, yes},
        {"double-bass", "open string under a third", {33, 42}, yes},
        {"double-bass", "sixth, both stopped low", {29, 37}, Unplayable::too_wide},
        {"double-bass", "both below the second string", {29, 32}, Unplayable::same_string},
        {"double-bass", "E string and G string", {30, 50}, Unplayable::strings_apart},
    };
    for (const Row& row : rows) {
        CAPTURE(row.instrument);
        CAPTURE(row.what);
        CHECK(static_cast<int>(why(shipped(row.instrument), row.keys)) == static_cast<int>(row.expected));
    }
}

TEST_CASE("a playable chord has a string of its own for every note, in a row, and every pair of neighbours is a double stop")
{
    for (const char* name : {"violin", "viola", "cello", "double-bass"}) {
        const Instrument i = shipped(name);
        const int low = i.lowest_key.get();
        int playable = 0;
        for (int a = low; a < low + 14; ++a) {
            for (int b = a + 1; b < a + 17; ++b) {
                for (int c = b + 1; c < b + 17; ++c) {
                    const Midi7 keys[] = {Midi7::nearest(a), Midi7::nearest(b), Midi7::nearest(c)};
                    const ChordFingering chord = finger_chord(i, keys);
                    if (chord.why != Unplayable::no) continue;
                    ++playable;
                    for (std::size_t n = 0; n < 3; ++n) CHECK(i.strings[chord.strings[n]].open_key <= keys[n]);
                    for (std::size_t m = 0; m < 3; ++m) {
                        for (std::size_t n = 0; n < 3; ++n) {
                            if (chord.strings[m] + 1 != chord.strings[n]) continue;
                            const Midi7 pair[] = {keys[m], keys[n]};
                            CHECK((finger_chord(i, pair).why == Unplayable::no));
                        }
                    }
                }
            }
        }
        CAPTURE(name);
        CHECK(playable > 100);
        CHECK(playable < 3'000); // of 3,584 in all
    }
}
