// MIDI time code, quarter and full frames, as a clock.
#include "hear/timecode_clock.hpp"
#include "midi/full_frame.hpp"

#include <doctest/doctest.h>

using namespace bowarm;

namespace
{

struct Heard final : TimecodeClock::Out {
    void send(Time at, const Message& message) noexcept override
    {
        times.push_back(at);
        messages.push_back(message);
    }
    int count(std::uint8_t status) const
    {
        int n = 0;
        for (const Message& m : messages) n += m.bytes[0] == status ? 1 : 0;
        return n;
    }
    std::vector<Time> times;
    std::vector<Message> messages;
};

Time at(double seconds) { return Time{} + to_duration(Seconds{seconds}); }

// Four quarter frames a frame, as RP-004 says, of a time code of 25 frames that is at `from` at the first of them.
void run(TimecodeClock& clock, Heard& heard, double starts_at, double from, double lasts)
{
    for (int q = 0; q * 0.01 < lasts; ++q) {
        const int frame = static_cast<int>(from * 25 + 0.5) + q / 8 * 2;
        const int parts[] = {frame % 25, frame / 25 % 60, frame / 1500 % 60, frame / 90000 | 1 << 5}; // rate 1: 25 frames
        const int piece = q % 8, value = parts[piece / 2];
        const Time now = at(starts_at + q * 0.01);
        while (clock.next_wake() <= now) clock.wake(heard);
        clock.hear(now, {{0xF1, static_cast<std::uint8_t>(piece << 4 | (piece % 2 == 0 ? value & 15 : value >> 4)), 0}, 2}, heard);
    }
}

} // namespace

TEST_CASE("eight quarter frames are a time: 01:37:52:16 at 30 frames")
{
    // F1 00 11 24 33 45 52 61 76, computed by hand from RP-004.
    const std::array<std::uint8_t, 8> halves{0, 1, 4, 3, 5, 2, 1, 6};
    REQUIRE(TimecodeClock::seconds_of(halves).has_value());
    CHECK(*TimecodeClock::seconds_of(halves) == doctest::Approx(5872 + 16 / 30.0));
    CHECK_FALSE(TimecodeClock::seconds_of({9, 1, 0, 0, 0, 0, 0, 0}).has_value()); // frame 25 of 24
}

TEST_CASE("drop frame: 00:10:00:00 is 17982 frames (SMPTE 12M)")
{
    const std::array<std::uint8_t, 8> halves{0, 0, 0, 0, 10, 0, 0, 4};
    CHECK(*TimecodeClock::seconds_of(halves) == doctest::Approx(17982 * 1001 / 30000.0));
}

TEST_CASE("a full frame is the same time in one message, and nothing else is one")
{
    FullFrame reader;
    const std::uint8_t bytes[] = {0x90, 60, 80, 0xF0, 0x7F, 0x7F, 1, 1, 0x61, 37, 0xF8, 52, 16, 0xF7};
    std::optional<FullFrame::Pieces> pieces;
    for (const std::uint8_t byte : bytes)
        if (const auto found = reader.take(byte)) pieces = found;
    REQUIRE(pieces.has_value());
    const int expected[] = {0x00, 0x11, 0x24, 0x33, 0x45, 0x52, 0x61, 0x76};
    for (std::size_t i = 0; i < 8; ++i) CHECK((*pieces)[i].bytes[1] == expected[i]);
    for (const int byte : {0xF0, 0x7E, 0x7F, 1, 1, 0x61, 37, 52, 16, 0xF7}) CHECK_FALSE(reader.take(static_cast<std::uint8_t>(byte)));
    for (const int byte : {0xF0, 0x7F, 0x7F, 1, 1, 0x61, 37, 52, 16, 17, 0xF7}) CHECK_FALSE(reader.take(static_cast<std::uint8_t>(byte)));
}

TEST_CASE("running time code is a clock at the tempo of the map, from the next sixteenth on, and stops when it falls silent")
{
    TimecodeClock clock{{{0, 0, 2}}}; // 120 quarters a minute
    Heard heard;
    run(clock, heard, 5, 10, 2);
    REQUIRE(heard.messages.size() > 2);
    // Known at the eighth quarter frame, 0.07 s in: quarter 20.14, sixteenth 81 is next (MIDI 1.0: song position in sixteenths).
    CHECK(heard.messages[0] == Message{{0xF2, 81, 0}, 3});
    CHECK(heard.messages[1] == Message{{0xFB, 0, 0}, 1});
    CHECK(heard.messages[2] == Message{{0xF8, 0, 0}, 1});
    CHECK(to_seconds(heard.times[2] - Time{}).value == doctest::Approx(5 + 0.125).epsilon(0.0005));
    CHECK(heard.count(0xF8) == doctest::Approx((2 - 0.125) * 48).epsilon(0.03));
    CHECK(heard.count(0xF2) == 1);
    while (clock.next_wake() <= at(8)) clock.wake(heard);
    CHECK(heard.count(0xFC) == 1);
    CHECK(clock.next_wake() == Time::never());
}

TEST_CASE("a jump, as a cycle makes it, is stop, position and continue, and a full frame only locates")
{
    TimecodeClock clock{{{0, 0, 2}, {4, 8, 1}}}; // after four seconds half as fast
    Heard heard;
    run(clock, heard, 1, 6, 1);
    CHECK(heard.messages[0] == Message{{0xF2, 41, 0}, 3}); // quarter 8 + 2.07
    run(clock, heard, 2, 0, 1);
    CHECK(heard.count(0xFC) == 1);
    CHECK(heard.count(0xF2) == 2);
    CHECK(heard.count(0xFB) == 2);
    while (clock.next_wake() <= at(4)) clock.wake(heard);
    const auto before = heard.messages.size();
    for (std::uint8_t i = 0; i < 8; ++i)
        clock.hear(at(5), {{0xF1, static_cast<std::uint8_t>(i << 4 | (i == 7 ? 2 : i == 2 ? 8 : 0)), 0}, 2}, heard);
    REQUIRE(heard.messages.size() == before + 1);
    CHECK(heard.messages.back() == Message{{0xF2, 48, 0}, 3}); // 8 s: quarter 12
    CHECK(clock.next_wake() == Time::never());
}

TEST_CASE("without a tempo time code says nothing")
{
    TimecodeClock clock{{}};
    Heard heard;
    run(clock, heard, 1, 6, 1);
    CHECK(heard.messages.empty());
}
