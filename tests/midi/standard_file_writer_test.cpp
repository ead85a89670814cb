#include "midi/smf_bytes.hpp"

#include <doctest/doctest.h>
#include <random>

using namespace bowarm;
using namespace smf;

namespace
{

// All that a file means to us.
bool same_music(const StandardFile& a, const StandardFile& b)
{
    return a.format == b.format && a.division == b.division && a.track_names == b.track_names && a.events == b.events &&
           a.end_tick == b.end_tick && a.end == b.end;
}

// True when it could be read; then writing it and reading it again must change nothing.
bool survives(const Bytes& bytes)
{
    const FileRead first = read_standard_file(bytes);
    const auto* file = std::get_if<StandardFile>(&first);
    if (file == nullptr) return false;
    const FileRead second = read_standard_file(write_standard_file(*file));
    REQUIRE(std::holds_alternative<StandardFile>(second));
    CHECK(same_music(*file, std::get<StandardFile>(second)));
    CHECK(std::get<StandardFile>(second).warnings.empty());
    return true;
}

Bytes busy_file(std::mt19937& random)
{
    Bytes bytes = header(1, 3, 480);
    for (int t = 0; t < 3; ++t) {
        Bytes events;
        for (int i = 0; i < 40; ++i) {
            events.push_back(static_cast<std::uint8_t>(random() % 3 == 0 ? random() % 100 : 0));
            const auto key = static_cast<std::uint8_t>(60 + random() % 3);
            const auto value = static_cast<std::uint8_t>(random() % 128);
            switch (random() % 8) {
            case 0:
                events = events + Bytes{0xFF, 0x51, 0x03, 0x05, value, value};
                break;
            case 1:
                events = events + Bytes{0xFF, 0x58, 0x04, 0x03, 0x02, 0x18, 0x08};
                break;
            case 2:
                events = events + Bytes{0xB0, 0x0B, value};
                break;
            case 3:
                events = events + Bytes{0xF0, 0x02, value, 0xF7};
                break;
            case 4:
            case 5:
                events = events + Bytes{0x80, key, value};
                break;
            default:
                events = events + Bytes{0x90, key, value};
                break;
            }
        }
        bytes = bytes + track(events);
    }
    return bytes;
}

} // namespace

TEST_CASE("the order given is the order written, without running status")
{
    StandardFile file;
    file.track_names = {"sent"};
    const Channel channel;
    const auto key = Midi7::nearest(60);
    for (const Message& m : {note_on(channel, Midi7::nearest(24), key), control_change(channel, Midi7::nearest(11), key),
                             note_on(channel, key, key), note_off(channel, key), note_on(channel, key, key)})
        file.events.push_back({960, {}, 0, m});
    file.end_tick = 1920;
    const Bytes expect = header(1, 1, 960) + chunk("MTrk", {0x00, 0xFF, 0x03, 0x04, 's',  'e',  'n',  't',  0x87, 0x40, 0x90, 0x18,
                                                            0x3C, 0x00, 0xB0, 0x0B, 0x3C, 0x00, 0x90, 0x3C, 0x3C, 0x00, 0x80, 0x3C,
                                                            0x40, 0x00, 0x90, 0x3C, 0x3C, 0x87, 0x40, 0xFF, 0x2F, 0x00});
    CHECK(write_standard_file(file) == expect);
}

TEST_CASE("rests longer than a variable length are bridged")
{
    StandardFile file;
    file.track_names = {""};
    file.events.push_back({3LL * variable_length_highest + 5, {}, 0, note_on({}, Midi7::nearest(60), Midi7::nearest(60))});
    file.end_tick = file.events[0].tick;
    const FileRead read = read_standard_file(write_standard_file(file));
    CHECK(std::get<StandardFile>(read).events.at(0).tick == 3LL * variable_length_highest + 5);
}

TEST_CASE("reading, writing and reading again changes nothing")
{
    CHECK(survives(example_format_0));
    CHECK(survives(example_format_1));
    std::mt19937 random(7);
    for (int run = 0; run < 300; ++run) {
        CAPTURE(run);
        CHECK(survives(busy_file(random)));
    }
}

TEST_CASE("every beginning of a file is read or refused, never a crash")
{
    std::mt19937 random(11);
    for (const Bytes& whole : {example_format_0, example_format_1, busy_file(random)})
        for (std::size_t size = 0; size < whole.size(); ++size) {
            CAPTURE(size);
            survives(Bytes(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(size)));
        }
}

TEST_CASE("any change of any bytes is read or refused, never a crash")
{
    std::mt19937 random(13);
    int read = 0;
    for (int run = 0; run < 20000; ++run) {
        CAPTURE(run);
        Bytes bytes = run % 3 == 0 ? example_format_0 : run % 3 == 1 ? example_format_1 : busy_file(random);
        for (std::uint32_t change = random() % 4 + 1; change > 0; --change)
            bytes[random() % bytes.size()] = static_cast<std::uint8_t>(random());
        read += survives(bytes) ? 1 : 0;
    }
    CHECK(read > 1000); // enough of them got past the header to mean something
    CHECK(read < 19000);
}
