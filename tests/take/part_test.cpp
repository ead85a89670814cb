// The pieces of which a bowed part is made.  What stands in engraving handbooks: common practice, no source.
#include "take/part/clefs.hpp"
#include "take/part/cues.hpp"
#include "take/part/note_values.hpp"
#include "take/part/pencil.hpp"
#include "take/part/spelling.hpp"
#include "take/part/xml_reader.hpp"
#include "take/part/zip.hpp"

#include <algorithm>
#include <array>
#include <doctest/doctest.h>
#include <sys/resource.h>

#include <random>
#include <string>
#include <vector>

using namespace bowarm;
using namespace bowarm::part;

namespace
{

constexpr Ticks quarter = ticks_a_quarter;

std::string values(Ticks begin, Ticks end, const Bar& bar, bool rest = false)
{
    std::string text;
    for (const NoteValue& value : values_of(begin, end, bar, {}, rest))
        text.append(text.empty() ? "" : " ").append(value_word(value.power)).append(static_cast<std::size_t>(value.dots), '.');
    return text;
}

std::string name(int key, KeyChange in)
{
    const Spelled s = spelled(key, in);
    std::string text{s.step};
    for (int i = s.alter; i > 0; --i) text += '#';
    for (int i = s.alter; i < 0; ++i) text += 'b';
    return text + std::to_string(s.octave);
}

// A document with these notes in one bar of 4/4.
std::string document(const std::string& notes)
{
    return "<?xml version='1.0'?><!DOCTYPE score-partwise [<!ENTITY x 'yyyy'>]>\n<score-partwise><part-list/><part id='P1'>"
           "<measure number='7'><attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>\n" +
           notes + "</measure></part></score-partwise>";
}

std::string note(const std::string& duration, const std::string& more = "")
{
    return "<note><pitch><step>A</step><octave>4</octave></pitch><duration>" + duration + "</duration><voice>1</voice>" + more +
           "</note>\n";
}

const std::string down = "<notations><technical><down-bow/></technical></notations>";
const std::string slur_start = "<notations><slur type='start' number='1'/></notations>";
const std::string slur_stop = "<notations><slur type='stop' number='1'/></notations>";

// d, u: known; - under the slur of the note before; ? left to the arm.
std::string bows(const std::string& text)
{
    auto read = read_pencil(text);
    REQUIRE(std::holds_alternative<std::vector<PencilNote>>(read));
    std::string letters;
    for (const PencilNote& n : std::get<std::vector<PencilNote>>(read)) {
        letters += n.on_bow_of_before ? '-' : !n.bow ? '?' : *n.bow == Direction::down ? 'd' : 'u';
        if (n.retake) letters += '\'';
    }
    return letters;
}

bool is_refused(const std::string& text) { return std::holds_alternative<WishProblem>(read_pencil(text)); }

} // namespace

TEST_CASE("values show the middle of a bar in four, and allow plain syncopations")
{
    const Bar four{0, 4 * quarter, {4, 2}, true};
    CHECK(values(0, 4 * quarter, four) == "whole");
    CHECK(values(quarter, 3 * quarter, four) == "half");
    CHECK(values(quarter, 4 * quarter, four) == "half.");
    CHECK(values(quarter, quarter * 5 / 2, four) == "quarter eighth");
    CHECK(values(quarter / 2, quarter * 3 / 2, four) == "quarter");
    CHECK(values(quarter * 3 / 2, quarter * 5 / 2, four) == "eighth eighth");
    CHECK(values(0, quarter * 3 / 4, four) == "eighth.");
    CHECK(values(quarter, 4 * quarter, four, true) == "quarter half");
}

TEST_CASE("values in six eighths show the dotted beat")
{
    const Bar six{0, 3 * quarter, {6, 3}, true};
    CHECK(values(0, 3 * quarter, six) == "half.");
    CHECK(values(0, quarter, six) == "quarter");
    CHECK(values(quarter / 2, quarter * 5 / 2, six) == "quarter quarter");
    CHECK(values(0, quarter, six, true) == "quarter");
}

TEST_CASE("values fill every stretch of every meter, with nothing left over")
{
    std::mt19937 any(7);
    const std::vector<BarMeter> meters{{4, 2}, {3, 2}, {2, 1}, {6, 3}, {9, 3}, {5, 3}, {7, 3}, {3, 3}, {12, 3}, {5, 2}};
    for (int i = 0; i < 20000; ++i) {
        const BarMeter meter = meters[any() % meters.size()];
        const Ticks length = quarter * 4 * meter.beats >> meter.unit;
        const Bar bar{length * 3, length, meter, false};
        const Ticks step = 60;
        const Ticks a = static_cast<Ticks>(any()) % (length / step) * step;
        const Ticks b = a + step + static_cast<Ticks>(any()) % ((length - a) / step) * step;
        const std::vector<NoteValue> got = values_of(bar.begin + a, bar.begin + b, bar, {}, any() % 2 == 0);
        Ticks at = bar.begin + a;
        for (const NoteValue& value : got) {
            REQUIRE(value.begin == at);
            at += value.length;
            const Ticks plain = value.power < 0 ? quarter * 8 : quarter * 4 >> value.power;
            REQUIRE(value.length == (value.dots > 0 ? plain * 3 / 2 : plain));
        }
        REQUIRE(at == bar.begin + b);
    }
}

TEST_CASE("notes are named as their key would have them")
{
    CHECK(name(68, {0, true}) == "G#4");   // the leading note of A minor
    CHECK(name(63, {0, false}) == "Eb4");  // C major
    CHECK(name(70, {-1, false}) == "Bb4"); // F major
    CHECK(name(66, {1, false}) == "F#4");  // G major
    CHECK(name(71, {-6, false}) == "Cb5"); // G flat major
    CHECK(name(60, {7, false}) == "B#3");  // C sharp major
    CHECK(name(60, {0, false}) == "C4");
    CHECK(name(0, {7, false}) == "B#0"); // no octave below 0 in MusicXML
}

TEST_CASE("the key of a scale that dwells on its tonic and fifth is found")
{
    std::array<double, 12> weights{};
    for (const int step : {0, 2, 4, 5, 7, 9, 11}) weights[static_cast<std::size_t>((step + 2) % 12)] = step == 0 || step == 7 ? 3 : 1;
    CHECK(key_of(weights) == KeyChange{2, false}); // D major
    weights = {};
    for (const int step : {0, 2, 3, 5, 7, 8, 11})
        weights[static_cast<std::size_t>((step + 7) % 12)] = step == 0 || step == 7 || step == 3 ? 3 : 1;
    CHECK(key_of(weights) == KeyChange{-2, true}); // G minor
    CHECK(key_of({}) == KeyChange{0, false});
}

TEST_CASE("a cello goes into the tenor clef for a high passage, not for one note")
{
    Instrument cello;
    cello.strings.push_back({Midi7::nearest(36), {}});
    const std::vector<int> low{43, 50, 55, 48}, high{62, 64, 65, 67, 64, 65}, mixed{45, 64, 48, 50};
    const std::vector<std::vector<int>> bars{low, mixed, low, high, high, high, low, low};
    const std::vector<Clef> clefs = clefs_of(cello, bars);
    CHECK(clefs[0] == Clef::bass);
    CHECK(clefs[1] == Clef::bass);
    CHECK(clefs[4] == Clef::tenor);
    CHECK(clefs[7] == Clef::bass);
}

TEST_CASE("a cue stands in the last bar of a long rest")
{
    std::vector<bool> silent(12, true);
    silent[0] = silent[11] = false;
    std::vector<bool> expected(12, false);
    expected[10] = true;
    CHECK(bars_with_cues(silent) == expected);
    silent.assign(5, true);
    silent[4] = false;
    CHECK(bars_with_cues(silent) == std::vector<bool>(5, false));
}

TEST_CASE("bow marks: strokes alternate from a mark on, a slur is a bow, a comma is a lift")
{
    CHECK(bows(document(note("2") + note("2", down) + note("2") + note("2"))) == "?dud");
    CHECK(bows(document(note("2", down) + note("2", slur_start) + note("2", slur_stop) + note("2"))) == "du-d");
    const std::string comma = "<notations><articulations><breath-mark>comma</breath-mark></articulations></notations>";
    CHECK(bows(document(note("2", down + comma) + note("2", down) + note("4"))) == "dd'u");
    CHECK(bows(document(note("2", down) + note("2", "<tie type='start'/>") + note("2", "<tie type='stop'/>") + note("2"))) == "dud");
    CHECK(bows(document(note("2", down) + "<note><rest/><duration>4</duration><voice>1</voice></note>" + note("2"))) == "d?");
    const std::string grace = "<note><grace/><pitch><step>B</step><octave>4</octave></pitch><voice>1</voice>";
    CHECK(bows(document(note("2", down) + grace + "</note>" + note("2") + note("2"))) == "du-d");
    CHECK(bows(document(note("2", down) + grace + slur_start + "</note>" + note("2", slur_stop) + note("2"))) == "du-d");
    CHECK(bows(document("<direction><direction-type><words>Pizz.</words></direction-type></direction>" + note("2") +
                        "<direction><direction-type><words>arco</words></direction-type></direction>" + note("2", down))) == "d");
    CHECK(bows(document(note("4", down) +
                        "<backup><duration>4</duration></backup><note><pitch><step>C</step><octave>4</octave></pitch>"
                        "<duration>4</duration><voice>2</voice></note>" +
                        note("4"))) == "du");
}

TEST_CASE("a place is the bar in its order and the beat of the meter, and a transposing part is read as it sounds")
{
    const auto read =
        read_pencil(document("<attributes><transpose><chromatic>0</chromatic><octave-change>-1</octave-change></transpose></attributes>" +
                             note("3") + note("1", down)));
    const auto& notes = std::get<std::vector<PencilNote>>(read);
    REQUIRE(notes.size() == 2);
    CHECK(notes[1].bar == 1);
    CHECK(notes[1].beat == doctest::Approx(2.5));
    CHECK(notes[1].key == 57);
    CHECK(notes[1].line == 4);
}

TEST_CASE("what is no part is refused, and nothing is expanded")
{
    CHECK(is_refused(""));
    CHECK(is_refused("<html></html>"));
    CHECK(is_refused("<score-timewise></score-timewise>"));
    CHECK(is_refused(document("<words>&x;</words>"))); // an entity of the document's own
    CHECK(is_refused(document("<a><b></a></b>")));
    std::string deep = "<score-partwise>";
    for (int i = 0; i < 100000; ++i) deep += "<a>";
    CHECK(is_refused(deep));
    const std::string bomb = "<!DOCTYPE s [<!ENTITY a '&b;&b;'><!ENTITY b '&c;&c;'>]><score-partwise><a>&a;</a></score-partwise>";
    CHECK(is_refused(bomb));
}

TEST_CASE("a document cut at any byte, or with any byte changed, is read to a problem or to the end")
{
    const std::string whole = document(note("2", down) + note("2", slur_start) + note("2", slur_stop) + note("2"));
    CHECK_FALSE(is_refused(whole));
    for (std::size_t length = 0; length + 1 < whole.size(); ++length) CHECK(is_refused(whole.substr(0, length)));
    std::mt19937 any(3);
    std::size_t ended = 0;
    for (int i = 0; i < 20000; ++i) {
        std::string damaged = whole;
        damaged[any() % damaged.size()] = static_cast<char>(any() % 256);
        XmlReader reader(damaged);
        std::size_t pieces = 0;
        XmlPiece piece = reader.next();
        for (; piece != XmlPiece::finished && piece != XmlPiece::problem; piece = reader.next()) REQUIRE(++pieces < damaged.size());
        ++ended;
        static_cast<void>(read_pencil(damaged));
    }
    CHECK(ended == 20000);
}

TEST_CASE("compressed parts come back whole, and a damaged one never comes back changed")
{
    std::string text = document(note("2", down));
    for (int i = 0; i < 6; ++i) text += text;
    const std::vector<std::uint8_t> archive = compressed(text);
    CHECK(archive.size() < text.size() / 4);
    CHECK(is_compressed(archive));
    CHECK(std::get<std::string>(uncompressed(archive, 1U << 20)) == text);
    CHECK(std::holds_alternative<NotUnpacked>(uncompressed(archive, text.size() - 1)));
    for (std::size_t length = 0; length < archive.size(); ++length)
        CHECK(std::holds_alternative<NotUnpacked>(uncompressed(std::span{archive}.first(length), 1U << 20)));
    for (std::size_t at = 0; at < archive.size(); ++at) {
        std::vector<std::uint8_t> damaged = archive;
        damaged[at] ^= 0x55;
        const auto read = uncompressed(damaged, 1U << 20);
        if (const auto* unpacked = std::get_if<std::string>(&read)) CHECK(*unpacked == text);
    }
}

// APPNOTE.TXT 6.3.3, 4.3.12: the uncompressed size stands at byte 24 of a file's entry in the directory.
TEST_CASE("an archive that claims more than its bytes can hold is refused before memory is taken for it")
{
    std::vector<std::uint8_t> archive = compressed(document(note("2", down)));
    const std::array<std::uint8_t, 4> signature{0x50, 0x4B, 0x01, 0x02};
    const auto entry = std::find_end(archive.begin(), archive.end(), signature.begin(), signature.end());
    REQUIRE(entry != archive.end());
    for (int i = 0; i < 4; ++i) entry[24 + i] = static_cast<std::uint8_t>(0x3FFF'FFFFU >> 8 * i); // a gigabyte
    rusage before{}, after{};
    ::getrusage(RUSAGE_SELF, &before);
    CHECK(std::holds_alternative<NotUnpacked>(uncompressed(archive, std::size_t{2} << 30)));
    ::getrusage(RUSAGE_SELF, &after);
    CHECK(after.ru_maxrss - before.ru_maxrss < 64 * 1024); // KiB
}
