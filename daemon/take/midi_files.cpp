#include "midi/standard_file.hpp"
#include "midi/stream_parser.hpp"
#include "midi/tempo_map.hpp"
#include "take/take.hpp"

#include <algorithm>
#include <optional>

namespace bowarm
{

namespace
{

constexpr std::uint16_t ticks_a_quarter = 960;

// Time as ticks under tempos that become known on the way.
//   A tempo change falls on a whole tick; what that rounding costs is remembered, so that it never adds up.
class TickClock
{
public:
    explicit TickClock(Time origin) : origin_(origin) {}

    // Never before an earlier answer.
    std::int64_t tick_of(Time at)
    {
        // One tick lasts tempo_ us / 960, so everything is kept in units of 1/960 ns.
        const WideInteger since_change = WideInteger{(at - origin_).ns} * ticks_a_quarter - change_;
        const WideInteger tick_length = WideInteger{tempo_.microseconds_per_quarter} * 1000;
        const WideInteger ticks = since_change > 0 ? (since_change + tick_length / 2) / tick_length : 0;
        latest_ = std::max(latest_, change_tick_ + static_cast<std::int64_t>(ticks));
        return latest_;
    }

    std::int64_t set_tempo(Time at, TempoChange tempo)
    {
        const std::int64_t tick = tick_of(at);
        change_ += WideInteger{tick - change_tick_} * tempo_.microseconds_per_quarter * 1000;
        change_tick_ = tick;
        tempo_ = tempo;
        return tick;
    }

private:
    Time origin_;
    WideInteger change_{0}; // when the tempo changed last, in 1/960 ns as the file has it
    std::int64_t change_tick_{0};
    TempoChange tempo_{};
    std::int64_t latest_{0};
};

constexpr std::uint16_t conductor_track = 0;
constexpr std::uint16_t music_track = 1;

std::optional<TempoChange> tempo_of(const Input& input)
{
    if (input.kind != InputKind::tempo) return std::nullopt;
    const TempoChange tempo{static_cast<std::uint32_t>(input.data[0]) << 16 | static_cast<std::uint32_t>(input.data[1]) << 8 |
                            input.data[2]};
    return tempo.microseconds_per_quarter == 0 ? std::nullopt : std::optional{tempo};
}

std::optional<MeterChange> meter_of(const Input& input)
{
    if (input.kind != InputKind::meter || input.data[0] == 0 || input.data[1] > 7) return std::nullopt;
    return MeterChange{input.data[0], input.data[1]};
}

std::optional<SentMessage> played_message(const Input& input)
{
    if (input.kind != InputKind::midi) return std::nullopt;
    return SentMessage{input.at, {{input.data[0], input.data[1], input.data[2]}, input.data[7]}};
}

// A file has no place for clocks and other system messages.
bool belongs_in_a_file(const Message& m) { return m.size > 1 && m.bytes[0] < 0xF0 && m.size == message_size(m.bytes[0]); }

// Tempos and meters of the inputs on one track, the messages on the other, both by time.
class FileMaker
{
public:
    FileMaker(const Recorder& take, std::string name) : take_(take), clock_(take.origin())
    {
        file_.division = ticks_a_quarter;
        file_.track_names = {"tempo and meter", std::move(name)};
    }

    void message(const SentMessage& sent)
    {
        conduct_until(sent.at);
        if (belongs_in_a_file(sent.message)) add(clock_.tick_of(sent.at), music_track, sent.message);
    }

    std::vector<std::uint8_t> bytes()
    {
        conduct_until(Time::never());
        file_.end_tick = clock_.tick_of(take_.latest());
        return write_standard_file(file_);
    }

private:
    void conduct_until(Time at)
    {
        const auto& inputs = take_.inputs();
        for (; next_ < inputs.size() && inputs[next_].at <= at; ++next_) conduct(inputs[next_]);
    }

    void conduct(const Input& input)
    {
        if (const auto tempo = tempo_of(input)) add(clock_.set_tempo(input.at, *tempo), conductor_track, *tempo);
        if (const auto meter = meter_of(input)) add(clock_.tick_of(input.at), conductor_track, *meter);
    }

    template <class What> void add(std::int64_t tick, std::uint16_t track, const What& what)
    {
        file_.events.push_back({tick, {}, track, what});
    }

    const Recorder& take_;
    TickClock clock_;
    StandardFile file_;
    std::size_t next_{0};
};

} // namespace

std::vector<std::uint8_t> sent_as_midi_file(const Recorder& take, Duration earlier)
{
    FileMaker maker(take, "sent");
    for (const SentMessage& sent : take.sent()) maker.message({std::max(take.origin(), sent.at - earlier), sent.message});
    return maker.bytes();
}

std::vector<std::uint8_t> played_as_midi_file(const Recorder& take)
{
    FileMaker maker(take, "played");
    for (const Input& input : take.inputs())
        if (const auto played = played_message(input)) maker.message(*played);
    return maker.bytes();
}

} // namespace bowarm
