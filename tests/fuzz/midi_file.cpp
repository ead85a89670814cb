// Any bytes as a Standard MIDI File: they are read or refused, and what was read is in order, within a small multiple of the bytes,
// the same when it is written and read again, and bowed whole where it is short.
#include "fuzz.hpp"

#include "midi/standard_file.hpp"
#include "player/fixture.hpp"
#include "take/performance.hpp"
#include "take/take.hpp"

using namespace bowarm;
using fuzz::require;

namespace
{

constexpr std::size_t bowed_at_most = 60; // events; the player has a harness of its own
constexpr Duration longest_bowed{60'000'000'000};

void check_order(const StandardFile& file)
{
    std::int64_t tick = 0;
    Time at{};
    for (const FileEvent& event : file.events) {
        require(event.tick >= tick && event.at >= at, "events are in order");
        require(event.track < file.track_names.size(), "an event's track is there");
        if (const Message* message = event.message())
            require(message->bytes[0] >= 0x80 && message->bytes[0] < 0xF0, "channel messages only");
        tick = event.tick;
        at = event.at;
    }
    require(file.end_tick >= tick && file.end >= at, "nothing is behind the end");
}

void check_written_again(const StandardFile& file)
{
    const FileRead read = read_standard_file(write_standard_file(file));
    const auto* again = std::get_if<StandardFile>(&read);
    require(again != nullptr, "what was written is read");
    require(again->division == file.division && again->end_tick == file.end_tick, "division and end are the same again");
    require(again->events == file.events, "the events are the same again");
}

void bow(const StandardFile& file)
{
    const PlayerConfig config = test::violin_config();
    Player player{config};
    Recorder take;
    require(perform(player, inputs_of(file, Source{0}), file.end, take), "the player comes to rest");
    read_standard_file(sent_as_midi_file(take));
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    FileRead read = read_standard_file({data, size});
    auto* file = std::get_if<StandardFile>(&read);
    if (file == nullptr) {
        require(!std::get<FileProblem>(read).what.empty(), "a refusal has a reason");
        return 0;
    }
    require(file->events.size() <= size, "an event has at least one byte of its own"); // a delta and a data byte, with running status
    check_order(*file);
    check_written_again(*file);
    leave_what_was_played(*file);
    if (file->events.size() <= bowed_at_most && file->end - Time{} <= longest_bowed) bow(*file);
    return 0;
}
