#include "midi/standard_file.hpp"
#include "midi/stream_parser.hpp"
#include "midi/tempo_map.hpp"
#include "take/take.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <array>
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

constexpr std::string_view played_track = "played";
constexpr std::string_view sent_track = "sent";

constexpr std::uint16_t conductor_track = 0;
constexpr std::uint16_t music_track = 1;

std::optional<TempoChange> tempo_of(const Input& input)
{
    if (input.kind != InputKind::tempo) return std::nullopt;
    const TempoChange tempo{microseconds_a_quarter(input)};
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
    return SentMessage{input.at, as_message(input)};
}

// A file has no place for clocks and other system messages.
bool belongs_in_a_file(const Message& m) { return m.size > 1 && m.bytes[0] < 0xF0 && m.size == message_size(m.bytes[0]); }

// Notes that were begun and not ended, in the order of channels and keys.
class Sounding
{
public:
    void saw(const Message& m)
    {
        const std::size_t key = m.channel().get() * 128U + m.first().get();
        if (m.is_note_on()) ++counts_[key];
        if (m.is_note_off() && counts_[key] > 0) --counts_[key];
    }
    std::vector<Message> ends() const
    {
        std::vector<Message> messages;
        for (std::size_t key = 0; key < counts_.size(); ++key)
            for (int n = 0; n < counts_[key]; ++n)
                messages.push_back(note_off(Channel::of_status(static_cast<std::uint8_t>(key / 128)), Midi7::nearest(key % 128)));
        return messages;
    }

private:
    std::array<int, 16 * 128> counts_{};
};

// Tempos and meters of the inputs on one track, the messages on the others, all by time.  Notes that the take cuts off end with it.
class FileMaker
{
public:
    // Tempo and meter are the first take's, for all players hear the same.
    FileMaker(std::span<const NamedTake> takes, std::vector<std::string> names)
        : take_(takes.front().take), clock_(take_.origin()), sounding_(names.size() + 1)
    {
        for (const NamedTake& one : takes) latest_ = std::max(latest_, one.take.latest());
        file_.division = ticks_a_quarter;
        file_.track_names = {"tempo and meter"};
        file_.track_names.insert(file_.track_names.end(), names.begin(), names.end());
    }

    // Times never fall.
    void message(const SentMessage& sent, std::uint16_t track = music_track)
    {
        conduct_until(sent.at);
        if (!belongs_in_a_file(sent.message)) return;
        sounding_[track].saw(sent.message);
        add(clock_.tick_of(sent.at), track, sent.message);
    }
    void marker(Time at, std::string text)
    {
        conduct_until(at);
        add(clock_.tick_of(at), conductor_track, Marker{std::move(text)});
    }

    std::vector<std::uint8_t> bytes()
    {
        conduct_until(Time::never());
        file_.end_tick = clock_.tick_of(latest_);
        const auto tracks = static_cast<std::uint16_t>(file_.track_names.size());
        for (std::uint16_t track = music_track; track < tracks; ++track)
            for (const Message& end : sounding_[track].ends()) add(file_.end_tick, track, end);
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
    Time latest_{};
    TickClock clock_;
    std::vector<Sounding> sounding_; // by track
    StandardFile file_;
    std::size_t next_{0};
};

// One thing of an export, in the order in which things of one moment are written.
struct Placed {
    Time at;
    std::uint16_t track{conductor_track};
    Message message;
    std::string marker;
};

std::string marker_of(const Fact& fact)
{
    if (fact.kind == FactKind::warning) return "warning: " + warning_sentence(fact);
    return (fact.retake ? "retake " : "") + std::string{direction_word(fact.direction)};
}

std::vector<std::string> track_names(std::span<const NamedTake> takes, std::span<const std::string_view> kinds)
{
    std::vector<std::string> names;
    for (const NamedTake& one : takes) {
        if (one.name.empty()) names.insert(names.end(), kinds.begin(), kinds.end());
        if (one.name.empty()) continue;
        for (const std::string_view kind : kinds) names.push_back(kinds.size() == 1 ? one.name : one.name + " " + std::string{kind});
    }
    return names;
}

void add_markers(std::vector<Placed>& all, const NamedTake& one)
{
    const std::string before = one.name.empty() ? "" : one.name + ": ";
    for (const Fact& fact : one.take.facts())
        if (fact.kind == FactKind::stroke_began || fact.kind == FactKind::warning)
            all.push_back({fact.at, conductor_track, {}, before + marker_of(fact)});
}

void add_played(std::vector<Placed>& all, const Recorder& take, std::size_t track)
{
    for (const Input& input : take.inputs())
        if (const auto played = played_message(input)) all.push_back({played->at, static_cast<std::uint16_t>(track), played->message, {}});
}

void add_sent(std::vector<Placed>& all, const NamedTake& one, std::size_t track)
{
    for (const SentMessage& sent : one.take.sent())
        all.push_back({sent.at - one.earlier, static_cast<std::uint16_t>(track), sent.message, {}});
}

std::vector<std::uint8_t> written(std::span<const NamedTake> takes, std::vector<std::string> names, std::vector<Placed> all)
{
    std::stable_sort(all.begin(), all.end(), [](const Placed& a, const Placed& b) { return a.at < b.at; });
    FileMaker maker(takes, std::move(names));
    const Time origin = takes.front().take.origin();
    for (const Placed& placed : all) {
        const Time at = std::max(origin, placed.at);
        if (placed.track == conductor_track)
            maker.marker(at, placed.marker);
        else
            maker.message({at, placed.message}, placed.track);
    }
    return maker.bytes();
}

} // namespace

std::vector<std::uint8_t> sent_as_midi_file(const Recorder& take, Duration earlier)
{
    const NamedTake takes[] = {{{}, take, earlier}};
    return sent_as_midi_file(takes);
}

std::vector<std::uint8_t> sent_as_midi_file(std::span<const NamedTake> takes)
{
    std::vector<Placed> all;
    for (std::size_t i = 0; i < takes.size(); ++i) add_sent(all, takes[i], music_track + i);
    return written(takes, track_names(takes, std::array{sent_track}), std::move(all));
}

std::vector<std::uint8_t> played_as_midi_file(const Recorder& take)
{
    const NamedTake takes[] = {{{}, take}};
    return played_as_midi_file(takes);
}

std::vector<std::uint8_t> played_as_midi_file(std::span<const NamedTake> takes)
{
    std::vector<Placed> all;
    for (std::size_t i = 0; i < takes.size(); ++i) add_played(all, takes[i].take, music_track + i);
    return written(takes, track_names(takes, std::array{played_track}), std::move(all));
}

std::vector<std::uint8_t> take_as_midi_file(const Recorder& take)
{
    const NamedTake takes[] = {{{}, take}};
    return take_as_midi_file(takes);
}

std::vector<std::uint8_t> take_as_midi_file(std::span<const NamedTake> takes)
{
    std::vector<Placed> all;
    for (std::size_t i = 0; i < takes.size(); ++i) {
        add_markers(all, takes[i]);
        add_played(all, takes[i].take, music_track + 2 * i);
        add_sent(all, takes[i], music_track + 2 * i + 1);
    }
    return written(takes, track_names(takes, std::array{played_track, sent_track}), std::move(all));
}

// A track "sent" goes where its "played" stands beside it.
void leave_what_was_played(StandardFile& file)
{
    const auto& names = file.track_names;
    const auto is_twin = [&names](std::string_view name) {
        if (!name.ends_with(sent_track)) return false;
        const std::string played = std::string{name.substr(0, name.size() - sent_track.size())} + std::string{played_track};
        return std::find(names.begin(), names.end(), played) != names.end();
    };
    std::erase_if(file.events, [&](const FileEvent& event) { return event.track < names.size() && is_twin(names[event.track]); });
}

} // namespace bowarm
