// Bytes as a performance: whatever is played, in whatever order and at whatever times, notes balance, nothing hangs behind the end, time
// does not run back, and the bow stays on its hair.
//   in       1 byte: the configuration (tests/player/random_playing), 1: delay, 1: desks, cable, 1: target's way; then 4 bytes an input:
//            what it is (low half) and how long after the last (high half), how long in units of that, and two bytes of data
#include "fuzz.hpp"

#include "player/random_playing.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <set>

using namespace bowarm;
using fuzz::require;

namespace
{

constexpr std::size_t inputs_at_most = 200;
constexpr Time latest{60'000'000'000}; // inputs behind it come at that moment: each second of a held note is two hundred wakes
constexpr int sources = 3;

class Listening final : public Sink
{
public:
    void bundle(Time at, std::span<const Message> messages) noexcept override
    {
        require(!messages.empty() && messages.size() <= bundle_limit, "a bundle has a few messages");
        in_order(at);
        for (const Message& message : messages) hear(message);
    }
    void curve(Time at, Controller controller, int value) noexcept override
    {
        in_order(at);
        require(value >= 0 && value <= controller.highest(), "a curve's value is in its range");
    }
    void fact(const Fact& fact) noexcept override
    {
        if (fact.kind == FactKind::note_began) told_.insert(fact.note);
        if (fact.kind == FactKind::note_ended) require(told_.erase(fact.note) == 1, "a note ends that had begun");
        if (fact.kind == FactKind::stroke_began) in_hair(fact.hair_from);
        if (fact.kind == FactKind::stroke_ended) in_hair(fact.hair_to);
    }
    void rest() const
    {
        for (const auto& [key, on] : on_) require(on == 0, "no note hangs");
        require(told_.empty(), "each note was said to have ended");
    }
    static void in_hair(HairFraction place) { require(place.value >= 0 && place.value <= 1, "the bow is on its hair"); }

private:
    void in_order(Time at)
    {
        require(at >= last_, "what is sent is in order");
        last_ = at;
    }
    void hear(const Message& message)
    {
        require(message.size >= 2 && (message.bytes[0] & 0x80) != 0 && message.bytes[1] < 0x80 && message.bytes[2] < 0x80,
                "messages are legal");
        int& on = on_[message.bytes[0] % 16 * 128 + message.bytes[1]];
        if (message.is_note_on()) require(on++ == 0, "a key that sounds is not struck again without its note-off");
        if (message.is_note_off()) require(on-- == 1, "a note-off is for a key that sounds");
    }

    std::map<int, int> on_;
    std::set<std::uint32_t> told_;
    Time last_{};
};

PlayerConfig config_from(fuzz::Bytes& bytes)
{
    PlayerConfig config = test::random_config(bytes.next());
    const std::uint8_t delay = bytes.next(), form = bytes.next(), way = bytes.next();
    if (delay >= 128) config.delay = Seconds{0.004 * (delay - 128)};
    config.desks = static_cast<std::uint8_t>(1 + form % desks_at_most);
    config.desk_channels = (form & 0x10) != 0;
    if ((form & 0x20) != 0) config.players_on_cable = 1 + (form >> 6);
    config.target.section = (way & 1) != 0;
    config.target.rate_high = 1 + (way >> 1 & 0x1F) * 30;
    if ((way & 0x40) != 0) config.target.switch_lead = Seconds{0.05};
    if ((way & 0x80) != 0) config.soften_when_out_of_reach = true;
    return config;
}

Duration after(std::uint8_t unit, std::uint8_t count)
{
    constexpr std::array<std::int64_t, 8> units{0, 1, 100'000, 1'000'000, 4'000'000, 20'000'000, 500'000'000, 10'000'000'000};
    return {units[unit % units.size()] * count};
}

Input input_from(std::uint8_t what, Time at, std::uint8_t one, std::uint8_t two)
{
    const Source heard{static_cast<std::uint8_t>((one >> 7) + (two >> 7))};
    const Midi7 first = Midi7::nearest(one & 0x7F), second = Midi7::nearest(two & 0x7F);
    switch (what) {
    case 0:
    case 1:
    case 2:
        return midi_input(at, heard, note_on(Channel{}, Midi7::nearest(48 + first.get() % 56), second));
    case 3:
        return midi_input(at, heard, note_on(Channel{}, first, second));
    case 4:
    case 5:
        return midi_input(at, heard, note_off(Channel{}, Midi7::nearest(48 + first.get() % 56), second));
    case 6:
        return midi_input(at, heard, note_off(Channel{}, first));
    case 7:
        return midi_input(at, heard, control_change(Channel{}, first, second));
    case 8:
        return midi_input(at, heard, program_change(Channel{}, first));
    case 9:
        return midi_input(at, heard,
                          (one & 1) != 0 ? channel_pressure(Channel{}, second) : pitch_bend(Channel{}, Midi14::nearest(one * 64 + two)));
    case 10:
        return command_input(at, static_cast<Command>(one), two);
    case 11:
        return tempo_input(at, static_cast<std::uint32_t>(one) << 12 | two);
    case 12:
        return meter_input(at, one, two);
    case 13: {
        constexpr InputKind kinds[] = {InputKind::port_lost, InputKind::port_back, InputKind::gap, InputKind::configured};
        return {at, Source{static_cast<std::uint8_t>(one % sources)}, kinds[two % 4], {}};
    }
    case 14: {
        constexpr std::uint8_t statuses[] = {0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF};
        return midi_input(at, heard, {{statuses[one % 6], 0, 0}, 1});
    }
    default:
        return midi_input(at, heard, (one & 1) != 0 ? Message{{0xF2, first.get(), second.get()}, 3} : Message{{0xF1, first.get(), 0}, 2});
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    fuzz::Bytes bytes{{data, size}};
    const PlayerConfig config = config_from(bytes);
    Player player{config};
    Listening listening;
    Snapshot snapshot;
    Time at{};
    for (std::size_t n = 0; !bytes.empty() && n < inputs_at_most; ++n) {
        const std::uint8_t head = bytes.next(), count = bytes.next(), one = bytes.next(), two = bytes.next();
        at = std::min(latest, at + after(head >> 4, count));
        advance(player, at, listening);
        player.on(input_from(head & 0x0F, at, one, two), listening);
        player.read(snapshot);
        Listening::in_hair(snapshot.hair);
    }
    for (std::uint8_t source = 0; source < sources; ++source) player.on({at, Source{source}, InputKind::port_lost, {}}, listening);
    advance(player, at + milliseconds(60'000), listening);
    require(player.next_wake() == Time::never(), "nothing is pending in silence");
    listening.rest();
    return 0;
}
