#include "midi/byte_reader.hpp"
#include "midi/file_order.hpp"
#include "midi/standard_file.hpp"
#include "midi/stream_parser.hpp"
#include "midi/tempo_map.hpp"

#include <algorithm>
#include <string>
#include <string_view>

namespace bowarm
{

namespace
{

using Bytes = std::span<const std::uint8_t>;

constexpr std::size_t warnings_at_most = 100;

enum MetaType : std::uint8_t { track_name = 0x03, end_of_track = 0x2F, set_tempo = 0x51, time_signature = 0x58, key_signature = 0x59 };

bool is(Bytes bytes, std::string_view name) { return std::equal(bytes.begin(), bytes.end(), name.begin(), name.end()); }

std::string hex(std::uint8_t byte)
{
    constexpr std::string_view digits = "0123456789ABCDEF";
    return {digits[byte >> 4], digits[byte & 0x0F]};
}

void warn(StandardFile& file, std::size_t offset, std::string what)
{
    if (file.warnings.size() < warnings_at_most) file.warnings.push_back({offset, std::move(what)});
}

// One track chunk, event by event, into the file's list.
class TrackReader
{
public:
    TrackReader(Bytes track, std::size_t offset, StandardFile& file)
        : bytes_(track, offset), file_(file), track_(static_cast<std::uint16_t>(file.track_names.size() - 1))
    {
    }

    void read()
    {
        while (!ended_ && !bytes_.at_end()) read_event();
        if (!ended_)
            warn(file_, bytes_.offset(), "the track has no end-of-track event");
        else if (!bytes_.at_end())
            warn(file_, bytes_.offset(), "data after the end of the track are left out");
        file_.end_tick = std::max(file_.end_tick, tick_);
    }

private:
    void read_event()
    {
        tick_ += bytes_.variable_length();
        const std::size_t at = bytes_.offset();
        const std::uint8_t first = bytes_.peek();
        if (first < 0x80) return read_channel_message(status_in_force(at), at);
        bytes_.byte();
        if (first < 0xF0) {
            running_status_ = first;
            running_status_cancelled_ = false;
            return read_channel_message(first, at);
        }
        running_status_cancelled_ = true;
        if (first == 0xFF) return read_meta(at);
        if (first == 0xF0 || first == 0xF7) {
            bytes_.block(bytes_.variable_length(), "a system exclusive event");
            return;
        }
        skip_system_message(first, at);
    }

    // RP-001 cancels running status at meta and exclusive events; files in the wild use it all the same.
    std::uint8_t status_in_force(std::size_t at)
    {
        if (running_status_ == 0) ByteReader::fail(at, "data without a status byte", "save or export the file again");
        if (running_status_cancelled_ && !warned_of_running_status_) {
            warn(file_, at, "running status goes on after a meta or system exclusive event");
            warned_of_running_status_ = true;
        }
        return running_status_;
    }

    void read_channel_message(std::uint8_t status, std::size_t at)
    {
        Message message{{status, 0, 0}, message_size(status)};
        for (std::size_t i = 1; i < message.size; ++i) {
            message.bytes[i] = bytes_.byte();
            if (message.bytes[i] > 0x7F)
                ByteReader::fail(at, "a channel message with data byte " + hex(message.bytes[i]),
                                 "data are 00 to 7F; save or export the file again");
        }
        add(message);
    }

    void read_meta(std::size_t at)
    {
        const std::uint8_t type = bytes_.byte();
        const Bytes data = bytes_.block(bytes_.variable_length(), "a meta event");
        switch (type) {
        case track_name:
            return read_track_name(data);
        case end_of_track:
            ended_ = true;
            return;
        case set_tempo:
            return read_tempo(data, at);
        case time_signature:
            return read_meter(data, at);
        case key_signature:
            return read_key(data, at);
        default:
            return;
        }
    }

    // The first name counts.
    void read_track_name(Bytes data)
    {
        std::string& name = file_.track_names.back();
        if (name.empty()) name.assign(data.begin(), data.end());
    }

    void read_tempo(Bytes data, std::size_t at)
    {
        if (data.size() < 3) return warn(file_, at, "a tempo of fewer than three bytes is left out");
        const std::uint32_t tempo = static_cast<std::uint32_t>(data[0]) << 16 | static_cast<std::uint32_t>(data[1]) << 8 | data[2];
        if (tempo == 0) return warn(file_, at, "a tempo of no time a quarter note is left out");
        add(TempoChange{tempo});
    }

    void read_meter(Bytes data, std::size_t at)
    {
        if (data.size() < 2) return warn(file_, at, "a time signature of fewer than two bytes is left out");
        if (data[0] == 0 || data[1] > 7) return warn(file_, at, "a time signature that names no bar is left out");
        add(MeterChange{data[0], data[1]});
    }

    void read_key(Bytes data, std::size_t at)
    {
        if (data.size() < 2) return warn(file_, at, "a key signature of fewer than two bytes is left out");
        const int sharps = data[0] < 0x80 ? data[0] : data[0] - 0x100;
        if (sharps < -7 || sharps > 7 || data[1] > 1) return warn(file_, at, "a key signature that names no key is left out");
        add(KeyChange{static_cast<std::int8_t>(sharps), data[1] == 1});
    }

    // A file has no use for these outside an escape event; with a known length they do no harm.
    void skip_system_message(std::uint8_t status, std::size_t at)
    {
        const std::uint8_t size = message_size(status);
        if (size == 0) ByteReader::fail(at, "undefined status byte " + hex(status), "save or export the file again");
        bytes_.block(size - 1U, "a system message");
        warn(file_, at, "a system message " + hex(status) + " does not belong in a file and is left out");
    }

    template <class What> void add(const What& what) { file_.events.push_back({tick_, {}, track_, what}); }

    ByteReader bytes_;
    StandardFile& file_;
    std::uint16_t track_;
    std::int64_t tick_{0};
    std::uint8_t running_status_{0};
    bool running_status_cancelled_{false};
    bool warned_of_running_status_{false};
    bool ended_{false};
};

struct Header {
    std::uint16_t format{0};
    std::uint16_t tracks{0};
    std::uint16_t division{0};
};

void check_division(std::uint16_t division)
{
    constexpr std::size_t offset = 12;
    if ((division & 0x8000) == 0) {
        if (division == 0) ByteReader::fail(offset, "the header says no ticks a quarter note", "save or export the file again");
        return;
    }
    const int frames = 0x100 - (division >> 8);
    if (frames != 24 && frames != 25 && frames != 29 && frames != 30)
        ByteReader::fail(offset, "the header says " + std::to_string(frames) + " frames a second",
                         "24, 25, 29 (drop frame) and 30 are known");
    if ((division & 0xFF) == 0) ByteReader::fail(offset, "the header says no ticks a frame", "save or export the file again");
}

Header read_header(ByteReader& bytes)
{
    if (bytes.at_end()) ByteReader::fail(0, "the file is empty", "give a Standard MIDI File");
    if (bytes.left() < 8 || !is(bytes.block(4, "the header"), "MThd"))
        ByteReader::fail(0, "this is not a Standard MIDI File", "the first four bytes are to be MThd; give a .mid file");
    const std::size_t length_offset = bytes.offset();
    const std::uint32_t length = bytes.four_bytes();
    if (length < 6) ByteReader::fail(length_offset, "the header is shorter than six bytes", "save or export the file again");
    ByteReader fields(bytes.block(length, "the header"), length_offset + 4);
    Header header;
    const std::size_t format_offset = fields.offset();
    header.format = fields.two_bytes();
    header.tracks = fields.two_bytes();
    header.division = fields.two_bytes();
    if (header.format == 2)
        ByteReader::fail(format_offset, "format 2 holds patterns that do not sound together", "export it as format 0 or 1");
    if (header.format > 2) ByteReader::fail(format_offset, "unknown format " + std::to_string(header.format), "export it as format 0 or 1");
    check_division(header.division);
    return header;
}

// Chunks until the data end; those that are no track are skipped as RP-001 asks.
void read_chunks(ByteReader& bytes, StandardFile& file)
{
    while (!bytes.at_end()) {
        const std::size_t chunk = bytes.offset();
        if (bytes.left() < 8) {
            if (file.track_names.empty()) ByteReader::fail(chunk, "the file ends before its first track", "save or export the file again");
            return warn(file, chunk, "a few bytes after the last track are left out");
        }
        const bool is_track = is(bytes.block(4, "a chunk"), "MTrk");
        const std::uint32_t length = bytes.four_bytes();
        const std::size_t content = bytes.offset();
        if (!is_track && length > bytes.left() && !file.track_names.empty())
            return warn(file, chunk, "data after the last track are left out");
        const Bytes data = bytes.block(length, is_track ? "a track" : "a chunk");
        if (!is_track) continue;
        if (file.track_names.size() == 0xFFFF) ByteReader::fail(chunk, "more than 65535 tracks", "join some of them");
        file.track_names.emplace_back();
        TrackReader(data, content, file).read();
    }
}

StandardFile read_all(Bytes bytes_given)
{
    ByteReader bytes(bytes_given);
    const Header header = read_header(bytes);
    StandardFile file;
    file.format = header.format;
    file.division = header.division;
    read_chunks(bytes, file);
    const std::size_t tracks = file.track_names.size();
    if (tracks == 0) ByteReader::fail(bytes.offset(), "the file has no track", "save or export the file again");
    if (tracks != header.tracks)
        warn(file, 10, "the header says " + std::to_string(header.tracks) + " tracks, " + std::to_string(tracks) + " are there");
    if (file.format == 0 && tracks > 1) {
        warn(file, 8, "format 0 with more than one track is read as format 1");
        file.format = 1;
    }
    put_in_file_order(file.events);
    set_times(file);
    return file;
}

} // namespace

FileRead read_standard_file(Bytes bytes)
{
    try {
        return read_all(bytes);
    } catch (BadFile& bad) {
        return std::move(bad.problem);
    }
}

} // namespace bowarm
