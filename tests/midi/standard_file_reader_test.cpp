#include "midi/smf_bytes.hpp"

#include <algorithm>
#include <doctest/doctest.h>
#include <string>

using namespace bowarm;
using namespace smf;

namespace
{

StandardFile read(const Bytes& bytes)
{
    FileRead result = read_standard_file(bytes);
    if (const auto* problem = std::get_if<FileProblem>(&result)) FAIL("byte " << problem->offset << ": " << problem->what);
    return std::get<StandardFile>(result);
}

FileProblem problem_of(const Bytes& bytes)
{
    const FileRead result = read_standard_file(bytes);
    REQUIRE(std::holds_alternative<FileProblem>(result));
    return std::get<FileProblem>(result);
}

// "0 on 60": ticks, what, key.
std::vector<std::string> notes(const StandardFile& file)
{
    std::vector<std::string> found;
    for (const FileEvent& event : file.events) {
        const Message* m = event.message();
        if (m == nullptr || !(m->is_note_on() || m->is_note_off())) continue;
        found.push_back(std::to_string(event.tick) + (m->is_note_on() ? " on " : " off ") + std::to_string(m->first().get()));
    }
    return found;
}

using Texts = std::vector<std::string>;

} // namespace

TEST_CASE("the two example files of RP-001 are the same music")
{
    const StandardFile zero = read(example_format_0);
    const StandardFile one = read(example_format_1);
    const Texts ons{"0 on 48", "0 on 60", "96 on 67", "192 on 76"};
    for (const StandardFile* file : {&zero, &one}) {
        CHECK(file->warnings.empty());
        Texts all = notes(*file);
        CHECK(Texts(all.begin(), all.begin() + 4) == ons);
        std::sort(all.begin() + 4, all.end());
        CHECK(Texts(all.begin() + 4, all.end()) == Texts{"384 off 48", "384 off 60", "384 off 67", "384 off 76"});
        CHECK(file->end_tick == 384);
        CHECK(file->end.ns == 2'000'000'000); // four quarters at 500000 microseconds
        CHECK(std::get<MeterChange>(file->events[0].what) == MeterChange{4, 2});
        CHECK(std::get<TempoChange>(file->events[1].what) == TempoChange{500'000});
    }
}

// The table of RP-001, "variable-length quantity".
TEST_CASE("variable-length numbers are read as in the table of RP-001")
{
    struct Row {
        std::uint32_t value;
        Bytes bytes;
    };
    const Row rows[] = {
        {0x00000000, {0x00}},
        {0x00000040, {0x40}},
        {0x0000007F, {0x7F}},
        {0x00000080, {0x81, 0x00}},
        {0x00002000, {0xC0, 0x00}},
        {0x00003FFF, {0xFF, 0x7F}},
        {0x00004000, {0x81, 0x80, 0x00}},
        {0x00100000, {0xC0, 0x80, 0x00}},
        {0x001FFFFF, {0xFF, 0xFF, 0x7F}},
        {0x00200000, {0x81, 0x80, 0x80, 0x00}},
        {0x08000000, {0xC0, 0x80, 0x80, 0x00}},
        {0x0FFFFFFF, {0xFF, 0xFF, 0xFF, 0x7F}},
    };
    for (const Row& row : rows) {
        CAPTURE(row.value);
        const StandardFile file = read(header(0, 1, 96) + track(row.bytes + Bytes{0x90, 0x3C, 0x40}));
        CHECK(file.events.at(0).tick == row.value);
        Bytes written;
        append_variable_length(written, row.value);
        CHECK(written == row.bytes);
    }
}

TEST_CASE("what cannot be read is refused with the place")
{
    struct Row {
        const char* why;
        Bytes bytes;
        std::size_t offset;
        const char* part;
    };
    const Bytes head = header(0, 1, 96); // 14 bytes; the content of the first track begins at 22
    const Row rows[] = {
        {"empty", {}, 0, "empty"},
        {"no MIDI at all", Bytes(40, 'x'), 0, "not a Standard MIDI File"},
        {"a fifth byte in a variable-length number", head + track({0x81, 0x80, 0x80, 0x80, 0x00, 0x90, 0x3C, 0x40}), 22, "over four bytes"},
        {"format 2", header(2, 1, 96) + track({}), 8, "format 2"},
        {"format 7", header(7, 1, 96) + track({}), 8, "unknown format 7"},
        {"no ticks a quarter", header(0, 1, 0) + track({}), 12, "no ticks"},
        {"26 frames a second", header(0, 1, 0xE628) + track({}), 12, "26 frames"},
        {"no ticks a frame", header(0, 1, 0xE700) + track({}), 12, "no ticks a frame"},
        {"no track", head, 14, "no track"},
        {"a track of 4 GB", head + Bytes{'M', 'T', 'r', 'k', 0xFF, 0xFF, 0xFF, 0xFF, 0x00, 0x90, 0x3C, 0x40}, 22,
         "claims 4294967295 bytes, 4 are there"},
        {"a meta event longer than the track", head + chunk("MTrk", {0x00, 0xFF, 0x01, 0x8F, 0x00, 'a'}), 27, "claims 1920 bytes"},
        {"an exclusive longer than the track", head + chunk("MTrk", {0x00, 0xF0, 0x05, 0x01}), 25, "claims 5 bytes"},
        {"the track ends inside a message", head + chunk("MTrk", {0x00, 0x90, 0x3C}), 25, "middle of an event"},
        {"data without a status", head + track({0x00, 0x3C, 0x40}), 23, "without a status"},
        {"a data byte above 7F", head + track({0x00, 0x90, 0x3C, 0x80}), 23, "data byte 80"},
        {"an undefined status", head + track({0x00, 0xF4}), 23, "undefined status byte F4"},
        {"a header of five bytes", chunk("MThd", {0, 0, 0, 1, 0}) + track({}), 4, "shorter than six"},
        {"a header longer than the file", Bytes{'M', 'T', 'h', 'd', 0x7F, 0, 0, 6, 0, 0}, 8, "claims"},
    };
    for (const Row& row : rows) {
        CAPTURE(row.why);
        const FileProblem problem = problem_of(row.bytes);
        CAPTURE(problem.what);
        CHECK(problem.offset == row.offset);
        CHECK(problem.what.find(row.part) != std::string::npos);
        CHECK(!problem.remedy.empty());
    }
}

TEST_CASE("a musician's file opens all the same, with a warning")
{
    struct Row {
        const char* why;
        Bytes bytes;
        const char* part;
    };
    const Bytes note{0x00, 0x90, 0x3C, 0x40, 0x60, 0x80, 0x3C, 0x40};
    const Bytes head = header(0, 1, 96);
    const Row rows[] = {
        {"no end of track", head + chunk("MTrk", note), "no end-of-track"},
        {"running status after a meta event", head + track({0x00, 0x90, 0x3C, 0x40, 0x00, 0xFF, 0x01, 0x01, 'a', 0x60, 0x3C, 0x00}),
         "running status"},
        {"running status after an exclusive", head + track({0x00, 0x90, 0x3C, 0x40, 0x00, 0xF0, 0x02, 0x7D, 0xF7, 0x60, 0x3C, 0x00}),
         "running status"},
        {"more tracks than said", header(1, 1, 96) + track(note) + track({}), "says 1 tracks, 2 are there"},
        {"format 0 with two tracks", header(0, 2, 96) + track(note) + track({}), "format 0"},
        {"events after the end of the track", head + chunk("MTrk", note + end_of_track + Bytes{0x00, 0x90, 0x40}), "after the end"},
        {"bytes after the last track", head + track(note) + Bytes{0x00, 0x0D}, "after the last track"},
        {"a tempo without bytes", head + track(Bytes{0x00, 0xFF, 0x51, 0x00} + note), "tempo"},
        {"a tempo of zero", head + track(Bytes{0x00, 0xFF, 0x51, 0x03, 0, 0, 0} + note), "tempo"},
        {"a bar of no beats", head + track(Bytes{0x00, 0xFF, 0x58, 0x04, 0, 2, 24, 8} + note), "time signature"},
        {"a key of eight sharps", head + track(Bytes{0x00, 0xFF, 0x59, 0x02, 8, 0} + note), "key signature"},
        {"a clock in a file", head + track(Bytes{0x00, 0xF8} + note), "system message F8"},
    };
    for (const Row& row : rows) {
        CAPTURE(row.why);
        const StandardFile file = read(row.bytes);
        CHECK(notes(file) == Texts{"0 on 60", "96 off 60"});
        REQUIRE(!file.warnings.empty());
        const bool named = std::any_of(file.warnings.begin(), file.warnings.end(),
                                       [&](const FileWarning& w) { return w.what.find(row.part) != std::string::npos; });
        CHECK(named);
    }
}

TEST_CASE("longer headers, unknown chunks and exclusives are skipped in silence, as RP-001 asks")
{
    const StandardFile file = read(chunk("MThd", {0, 0, 0, 1, 0, 96, 1, 2, 3}) + chunk("XFIH", {1, 2, 3, 4, 5}) +
                                   track({0x00, 0xF0, 0x03, 0x7D, 0x01, 0xF7, 0x00, 0xF7, 0x02, 0xF3, 0x01, 0x00, 0x90, 0x3C, 0x40}));
    CHECK(notes(file) == Texts{"0 on 60"});
    CHECK(file.warnings.empty());
}

TEST_CASE("time follows the tempos of every track, exactly")
{
    // Division 480: 7 ticks at 500000, 13 at 333333, 480 at 600001 microseconds a quarter; the tempos stand on the
    // second track.  (7 * 500000 + 13 * 333333 + 480 * 600001) * 1000 / 480 = 616320435.41... ns, by hand.
    const StandardFile file = read(header(1, 2, 480) + track({0x83, 0x74, 0x90, 0x3C, 0x40}) +
                                   track({0x07, 0xFF, 0x51, 0x03, 0x05, 0x16, 0x15, 0x0D, 0xFF, 0x51, 0x03, 0x09, 0x27, 0xC1}));
    CHECK(file.events.back().tick == 500);
    CHECK(file.events.back().at.ns == 616'320'435);
}

TEST_CASE("frames are counted as RP-001 and SMPTE 12M say")
{
    const auto end_of = [](unsigned division, const Bytes& delta) {
        return read(header(0, 1, division) + chunk("MTrk", delta + Bytes{0xFF, 0x2F, 0x00})).end.ns;
    };
    // RP-001: -25 and 40 subframes give whole milliseconds.
    CHECK(end_of(0xE728, {0x87, 0x68}) == 1'000'000'000);
    CHECK(end_of(0xE728, {0x01}) == 1'000'000);
    // Drop frame: 30000 frames last 1001 seconds; 100 ticks a frame, 3000 ticks = 30 frames.
    CHECK(end_of(0xE364, {0x97, 0x38}) == 1'001'000'000);
    CHECK(end_of(0xE804, {0x60}) == 1'000'000'000);
    CHECK(end_of(0xE204, {0x78}) == 1'000'000'000);
}

TEST_CASE("a chord comes from the lowest note up, after all else of its tick")
{
    const StandardFile file = read(header(1, 2, 96) + track({0x00, 0x90, 0x43, 0x40, 0x00, 0x90, 0x3C, 0x40, 0x00, 0xB0, 0x0B, 0x40}) +
                                   track({0x00, 0x91, 0x40, 0x40, 0x00, 0xC1, 0x05}));
    CHECK(notes(file) == Texts{"0 on 60", "0 on 64", "0 on 67"});
    CHECK(file.events[0].message()->kind() == MessageKind::control_change);
    CHECK(file.events[1].message()->kind() == MessageKind::program_change);
}

TEST_CASE("at one tick the old note of a key ends before the new one, and a note without length ends after it began")
{
    const Bytes head = header(0, 1, 96);
    CHECK(notes(read(head + track({0x00, 0x90, 0x3C, 0x40, 0x60, 0x90, 0x3C, 0x40, 0x00, 0x80, 0x3C, 0x40, 0x60, 0x80, 0x3C, 0x40}))) ==
          Texts{"0 on 60", "96 off 60", "96 on 60", "192 off 60"});
    CHECK(notes(read(head + track({0x60, 0x90, 0x3C, 0x40, 0x00, 0x90, 0x30, 0x40, 0x00, 0x80, 0x3C, 0x40, 0x60, 0x80, 0x30, 0x40}))) ==
          Texts{"96 on 48", "96 on 60", "96 off 60", "192 off 48"});
}

TEST_CASE("names and keys of the music are kept")
{
    const StandardFile file = read(header(1, 1, 96) + track({0x00, 0xFF, 0x03, 0x05, 'V',  'i',  'o',  'l',  'a',  0x00,
                                                             0xFF, 0x03, 0x01, 'x',  0x00, 0xFF, 0x59, 0x02, 0xFD, 0x01}));
    CHECK(file.track_names == Texts{"Viola"});
    CHECK(std::get<KeyChange>(file.events.at(0).what) == KeyChange{-3, true}); // C minor
}
