#include "midi/standard_file.hpp"

#include <algorithm>
#include <cassert>
#include <limits>
#include <stdexcept>
#include <string_view>

namespace bowarm
{

namespace
{

using Bytes = std::vector<std::uint8_t>;

void append(Bytes& bytes, std::string_view text) { bytes.insert(bytes.end(), text.begin(), text.end()); }

void append_number(Bytes& bytes, std::uint32_t value, int size)
{
    for (int shift = 8 * (size - 1); shift >= 0; shift -= 8) bytes.push_back(static_cast<std::uint8_t>(value >> shift & 0xFF));
}

// Rests longer than a variable length can say are bridged by empty text events.
void append_delta(Bytes& bytes, std::int64_t ticks)
{
    for (; ticks > variable_length_highest; ticks -= variable_length_highest) {
        append_variable_length(bytes, variable_length_highest);
        append(bytes, std::string_view{"\xFF\x01\x00", 3});
    }
    append_variable_length(bytes, static_cast<std::uint32_t>(ticks));
}

void append_event(Bytes& bytes, const Message& message)
{
    bytes.insert(bytes.end(), message.bytes.begin(), message.bytes.begin() + message.size);
}

void append_event(Bytes& bytes, TempoChange tempo)
{
    append(bytes, "\xFF\x51\x03");
    append_number(bytes, tempo.microseconds_per_quarter, 3);
}

// A click on every beat, eight 32nds to the quarter (the ordinary case of RP-001).
void append_event(Bytes& bytes, MeterChange meter)
{
    const int clocks_a_beat = std::max(1, 96 >> meter.beat_as_power_of_two);
    append(bytes, "\xFF\x58\x04");
    bytes.insert(bytes.end(), {meter.beats, meter.beat_as_power_of_two, static_cast<std::uint8_t>(clocks_a_beat), 8});
}

void append_event(Bytes& bytes, KeyChange key)
{
    append(bytes, "\xFF\x59\x02");
    bytes.insert(bytes.end(), {static_cast<std::uint8_t>(key.sharps), static_cast<std::uint8_t>(key.minor ? 1 : 0)});
}

// RP-001: FF 06 length text.
void append_event(Bytes& bytes, const Marker& marker)
{
    const std::string_view text = std::string_view{marker.text}.substr(0, variable_length_highest);
    append(bytes, "\xFF\x06");
    append_variable_length(bytes, static_cast<std::uint32_t>(text.size()));
    append(bytes, text);
}

void append_name(Bytes& bytes, const std::string& name)
{
    if (name.empty()) return;
    const std::string_view text = std::string_view{name}.substr(0, variable_length_highest);
    append(bytes, std::string_view{"\x00\xFF\x03", 3});
    append_variable_length(bytes, static_cast<std::uint32_t>(text.size()));
    append(bytes, text);
}

Bytes track_bytes(const StandardFile& file, std::size_t track)
{
    Bytes bytes;
    append_name(bytes, file.track_names[track]);
    std::int64_t tick = 0;
    for (const FileEvent& event : file.events) {
        if (event.track != track) continue;
        assert(event.tick >= tick);
        append_delta(bytes, event.tick - tick);
        tick = event.tick;
        std::visit([&bytes](const auto& what) { append_event(bytes, what); }, event.what);
    }
    append_delta(bytes, std::max<std::int64_t>(file.end_tick - tick, 0));
    append(bytes, std::string_view{"\xFF\x2F\x00", 3});
    return bytes;
}

} // namespace

void append_variable_length(std::vector<std::uint8_t>& bytes, std::uint32_t value)
{
    assert(value <= variable_length_highest);
    for (int shift = 21; shift > 0; shift -= 7)
        if (value >> shift != 0) bytes.push_back(static_cast<std::uint8_t>((value >> shift & 0x7F) | 0x80));
    bytes.push_back(static_cast<std::uint8_t>(value & 0x7F));
}

std::vector<std::uint8_t> write_standard_file(const StandardFile& file)
{
    assert(file.track_names.size() <= 0xFFFF);
    Bytes bytes;
    append(bytes, "MThd");
    append_number(bytes, 6, 4);
    append_number(bytes, file.format, 2);
    append_number(bytes, static_cast<std::uint32_t>(file.track_names.size()), 2);
    append_number(bytes, file.division, 2);
    for (std::size_t track = 0; track < file.track_names.size(); ++track) {
        const Bytes content = track_bytes(file, track);
        if (content.size() > std::numeric_limits<std::uint32_t>::max())
            throw std::length_error("a track of more than 4 GB cannot be written");
        append(bytes, "MTrk");
        append_number(bytes, static_cast<std::uint32_t>(content.size()), 4);
        bytes.insert(bytes.end(), content.begin(), content.end());
    }
    return bytes;
}

} // namespace bowarm
