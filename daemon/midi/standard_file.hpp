// Standard MIDI Files: bytes in, events with exact times out, and back.
//   in       formats 0 and 1 with any division, SMPTE frames too; format 2 (independent patterns) is refused
//   out      the events of all tracks in one list, ordered by tick; times in whole nanoseconds from the start
//   source   RP-001 "Standard MIDI Files 1.0"; variable lengths of at most four bytes, tempo default 500000 us and
//            the cancelling of running status are its rules
//   thread   any, pure.  Real-time safe: no, it allocates; never more than a small multiple of the bytes it was given,
//            whatever a length in them claims.
//   Errors   reading: a FileProblem with the byte offset; what a musician's file may get wrong without loss is a warning.
#pragma once

#include "base/time.hpp"
#include "midi/message.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace bowarm
{

struct TempoChange {
    std::uint32_t microseconds_per_quarter{500'000}; // 1..16777215
    bool operator==(const TempoChange&) const = default;
};
struct MeterChange {
    std::uint8_t beats{4};
    std::uint8_t beat_as_power_of_two{2}; // 2 = quarter; 0..7
    bool operator==(const MeterChange&) const = default;
};
struct KeyChange {
    std::int8_t sharps{0}; // -7 seven flats .. 7 seven sharps
    bool minor{false};
    bool operator==(const KeyChange&) const = default;
};

// A word at a place of the music, bytes as in the file.  The reader passes over markers.
struct Marker {
    std::string text;
    bool operator==(const Marker&) const = default;
};

struct FileEvent {
    std::int64_t tick{0};
    Time at; // from the tempo map of all tracks; the writer does not look at it
    std::uint16_t track{0};
    std::variant<Message, TempoChange, MeterChange, KeyChange, Marker> what; // messages are channel messages

    bool operator==(const FileEvent&) const = default;
    const Message* message() const { return std::get_if<Message>(&what); }
};

struct FileWarning {
    std::size_t offset{0};
    std::string what;
};

struct StandardFile {
    std::uint16_t format{1};                // 0 or 1
    std::uint16_t division{960};            // as in the file: ticks a quarter, or with bit 15 SMPTE frames and ticks a frame
    std::vector<std::string> track_names{}; // one for each track, bytes as in the file; empty: none
    // Ordered by tick; within a tick: what is not a note-on in the order of the tracks, then note-ons from the lowest
    // pitch up, then the note-offs of notes that begin and end in this very tick.
    std::vector<FileEvent> events{};
    std::int64_t end_tick{0}; // the latest end of a track
    Time end;
    std::vector<FileWarning> warnings{};
};

struct FileProblem {
    std::size_t offset{0};
    std::string what;
    std::string remedy;
};

using FileRead = std::variant<StandardFile, FileProblem>;

FileRead read_standard_file(std::span<const std::uint8_t> bytes);

// The events as they stand: nothing is sorted, within a track the given order is kept.
//   No running status; each track ends with its end-of-track at end_tick.  `at` and `warnings` are not written.
//   Expects ticks that never fall and tracks below track_names.size().
std::vector<std::uint8_t> write_standard_file(const StandardFile& file);

// Variable-length quantity of RP-001, 0..0x0FFFFFFF.
inline constexpr std::uint32_t variable_length_highest = 0x0FFF'FFFF;
void append_variable_length(std::vector<std::uint8_t>& bytes, std::uint32_t value);

} // namespace bowarm
