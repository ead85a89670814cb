// Any bytes at a MIDI port: what leaves the parser is whole and legal, however the bytes were cut, and every reader behind it takes it.
//   The first byte says where the stream is cut in two.
#include "fuzz.hpp"

#include "hear/hands.hpp"
#include "hear/hear.hpp"
#include "hear/loop_watch.hpp"
#include "hear/timecode_clock.hpp"
#include "midi/full_frame.hpp"
#include "midi/stream_parser.hpp"
#include "player/fixture.hpp"

#include <vector>

using namespace bowarm;
using fuzz::require;

namespace
{

void check_whole(const Message& message)
{
    require(message.size >= 1 && message.size <= 3, "a message has one to three bytes");
    require((message.bytes[0] & 0x80) != 0, "a message begins with its status");
    require(message.size == message_size(message.bytes[0]), "a message is as long as its status says");
    for (std::size_t i = 1; i < message.bytes.size(); ++i) require(message.bytes[i] < 0x80, "data bytes are below 128");
}

std::vector<Message> messages_in(std::span<const std::uint8_t> bytes, std::size_t cut)
{
    std::vector<Message> found;
    StreamParser parser;
    const auto keep = [&](const Message& message) { found.push_back(message); };
    parser.feed(bytes.first(cut), keep);
    parser.feed(bytes.subspan(cut), keep);
    return found;
}

class Clocks final : public TimecodeClock::Out
{
public:
    void send(Time at, const Message& message) noexcept override
    {
        check_whole(message);
        require(at >= last, "the clock's stamps never run backwards");
        last = at;
        ++count;
    }
    Time last{};
    std::size_t count{0};
};

Part part_of(std::size_t player)
{
    Part part;
    part.from = Midi7::nearest(player == 1 ? 60 : 0);
    part.to = Midi7::nearest(player == 0 ? 59 : 127);
    part.transpose = player == 1 ? -12 : 0;
    part.under_hands = player >= 2;
    return part;
}

class Room
{
public:
    Room()
        : controls_(test::violin_config().controls), hearing_(controls_), hands_(parts(), {}, controls_), clock_({{0, 0, 2}, {4, 8, 1.5}})
    {
    }

    void hear(Time at, const Message& message)
    {
        if (message.bytes[0] == 0xF1) clock_.hear(at, message, clocks_);
        while (clock_.next_wake() <= at) clock_.wake(clocks_);
        const Input input = midi_input(at, Source{0}, message);
        const Gesture gesture = hearing_.hear(input);
        require(gesture.at == at, "a gesture has its input's time");
        const PlayerSet players = hands_.hear(input);
        for (std::size_t player = 0; player < 4; ++player) {
            if ((players & only(player)) == 0) continue;
            if (const auto heard = hands_.as_heard(input, player)) check_whole(as_message(*heard));
        }
        loop_.heard(at, 0, message);
        loop_.sent(at, message);
        loop_.look_again(at);
    }
    void everything_up(Time at)
    {
        hands_.hear({at, Source{0}, InputKind::port_lost, {}});
        require(!hands_.any_key_down(), "no key stays down when its port is lost");
    }

private:
    static std::vector<Part> parts() { return {part_of(0), part_of(1), part_of(2), part_of(3)}; }

    Controls controls_;
    Hearing hearing_;
    Hands hands_;
    LoopWatch loop_;
    TimecodeClock clock_;
    Clocks clocks_;
};

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    fuzz::Bytes all{{data, size}};
    const std::size_t cut_at = all.next();
    const auto bytes = all.rest();
    const auto whole = messages_in(bytes, 0);
    require(whole == messages_in(bytes, cut_at % (bytes.size() + 1)), "where the stream is cut makes no difference");
    static const Room fresh;
    static Room room;
    room = fresh; // its tables are large; to fill them anew each time would take all of the time
    FullFrame full_frame;
    Time at{1'000'000};
    for (const Message& message : whole) {
        check_whole(message);
        at = at + Duration{2'083'333}; // quarter frames of 30 frames a second come so far apart, four times
        room.hear(at, message);
    }
    for (const std::uint8_t byte : bytes)
        if (const auto pieces = full_frame.take(byte))
            for (const Message& piece : *pieces) {
                check_whole(piece);
                room.hear(at, piece);
            }
    room.everything_up(at);
    return 0;
}
