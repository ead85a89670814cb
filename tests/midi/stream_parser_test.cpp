#include "midi/stream_parser.hpp"

#include <doctest/doctest.h>
#include <random>
#include <string>
#include <vector>

using namespace bowarm;

namespace
{

using Bytes = std::vector<std::uint8_t>;

// "90 3C 40 | F8": messages as text, so that a failure can be read.
std::string text_of(const std::vector<Message>& messages)
{
    constexpr char digits[] = "0123456789ABCDEF";
    std::string text;
    for (const Message& m : messages) {
        if (!text.empty()) text += " |";
        for (const std::uint8_t byte : m.data()) {
            if (!text.empty()) text += ' ';
            text += digits[byte >> 4];
            text += digits[byte & 15];
        }
    }
    return text;
}

std::string heard(StreamParser& parser, const Bytes& bytes)
{
    std::vector<Message> messages;
    parser.feed(bytes, [&](const Message& m) { messages.push_back(m); });
    return text_of(messages);
}

std::string heard(const Bytes& bytes)
{
    StreamParser parser;
    return heard(parser, bytes);
}

} // namespace

// MIDI 1.0 Detailed Specification 4.2.1: running status, system common and real time, system exclusive.
TEST_CASE("a byte stream is cut as MIDI 1.0 says")
{
    struct Row {
        const char* why;
        Bytes bytes;
        const char* expect;
    };
    const Row rows[] = {
        {"running status lives through a clock and dies at a quarter frame; the last two bytes are dropped",
         {0x90, 0x3C, 0x40, 0xF8, 0x3E, 0x40, 0xF1, 0x05, 0x40, 0x40},
         "90 3C 40 | F8 | 90 3E 40 | F1 05"},
        {"real time may stand inside a message", {0x90, 0xFA, 0x3C, 0xFE, 0x40}, "FA | FE | 90 3C 40"},
        {"real time may stand inside a system exclusive", {0xF0, 0x7D, 0xF8, 0x01, 0xF7}, "F8"},
        {"a system exclusive ends at any status below F8", {0xF0, 0x7D, 0x01, 0x90, 0x3C, 0x40}, "90 3C 40"},
        {"a system exclusive cancels running status", {0x90, 0x3C, 0x40, 0xF0, 0x7D, 0xF7, 0x3E, 0x40}, "90 3C 40"},
        {"an end of exclusive alone cancels it too", {0x90, 0x3C, 0x40, 0xF7, 0x3E, 0x40}, "90 3C 40"},
        {"undefined real time is ignored and leaves running status", {0x90, 0x3C, 0x40, 0xF9, 0xFD, 0x3E, 0x40}, "90 3C 40 | 90 3E 40"},
        {"undefined system common cancels it", {0x90, 0x3C, 0x40, 0xF4, 0x3E, 0x40, 0xF5, 0x3E, 0x40}, "90 3C 40"},
        {"data without a status are dropped", {0x3C, 0x40, 0x90, 0x3C, 0x40}, "90 3C 40"},
        {"a message cut short by a status is dropped", {0x90, 0x3C, 0x80, 0x3C, 0x40}, "80 3C 40"},
        {"two-byte messages run on as well", {0xC0, 0x05, 0x06, 0xD1, 0x40, 0x41}, "C0 05 | C0 06 | D1 40 | D1 41"},
        {"song position, song select and tune request", {0xF2, 0x10, 0x20, 0xF3, 0x02, 0xF6, 0x01}, "F2 10 20 | F3 02 | F6"},
        {"a note-on of velocity 0 stays as it came", {0x90, 0x3C, 0x00}, "90 3C 00"},
        {"time code 01:37:52:16 at 30 frames",
         {0xF1, 0x00, 0xF1, 0x11, 0xF1, 0x24, 0xF1, 0x33, 0xF1, 0x45, 0xF1, 0x52, 0xF1, 0x61, 0xF1, 0x76},
         "F1 00 | F1 11 | F1 24 | F1 33 | F1 45 | F1 52 | F1 61 | F1 76"},
    };
    for (const Row& row : rows) {
        CAPTURE(row.why);
        CHECK(heard(row.bytes) == row.expect);
    }
}

TEST_CASE("what is dropped is counted")
{
    StreamParser parser;
    heard(parser, {0x3C, 0x90, 0x3C, 0x80, 0x3C, 0x40, 0xF4, 0x11, 0xF0, 0x01, 0x02, 0xF7, 0xFD});
    CHECK(parser.dropped().stray_bytes == 2);
    CHECK(parser.dropped().cut_messages == 1);
    CHECK(parser.dropped().undefined_statuses == 2);
    CHECK(parser.dropped().exclusive_messages == 1);
}

TEST_CASE("a port opened anew has no running status")
{
    StreamParser parser;
    heard(parser, {0x90, 0x3C, 0x40, 0x3E});
    parser.reset();
    CHECK(heard(parser, {0x40, 0x41}) == "");
    CHECK(heard(parser, {0x80, 0x3C, 0x40}) == "80 3C 40");
}

// Table of message lengths, MIDI 1.0 Detailed Specification 4.2.1, summary of status bytes.
TEST_CASE("a status byte tells the length of its message")
{
    for (int status = 0x80; status < 0xF0; ++status) {
        CAPTURE(status);
        const int kind = status & 0xF0;
        CHECK(message_size(static_cast<std::uint8_t>(status)) == (kind == 0xC0 || kind == 0xD0 ? 2 : 3));
    }
    const int system[16] = {0, 2, 3, 2, 0, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 1};
    for (int i = 0; i < 16; ++i) {
        CAPTURE(i);
        CHECK(message_size(static_cast<std::uint8_t>(0xF0 + i)) == system[i]);
    }
    CHECK(message_size(0x7F) == 0);
}

TEST_CASE("any bytes, cut anywhere, give the same whole messages with data below 80")
{
    std::mt19937 random(20240607);
    for (int run = 0; run < 2000; ++run) {
        CAPTURE(run);
        Bytes bytes(random() % 60);
        for (auto& byte : bytes) byte = static_cast<std::uint8_t>(random() % 3 == 0 ? random() | 0x80 : random() & 0x7F);
        StreamParser whole, cut;
        std::vector<Message> at_once, in_pieces;
        whole.feed(bytes, [&](const Message& m) { at_once.push_back(m); });
        for (std::size_t next = 0; next < bytes.size();) {
            const std::size_t count = std::min<std::size_t>(random() % 5, bytes.size() - next);
            cut.feed(std::span{bytes}.subspan(next, count), [&](const Message& m) { in_pieces.push_back(m); });
            next += count;
        }
        CHECK(at_once == in_pieces);
        CHECK(whole.dropped() == cut.dropped());
        for (const Message& m : at_once) {
            CHECK(m.size == message_size(m.bytes[0]));
            CHECK((m.bytes[1] < 0x80 && m.bytes[2] < 0x80));
        }
    }
}
