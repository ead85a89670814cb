#include "take/journal.hpp"

#include "take/crc32c.hpp"

#include <algorithm>
#include <array>
#include <string_view>

namespace bowarm
{
namespace
{

constexpr std::array<std::uint8_t, 16> beginning{'b', 'o', 'w', 'a', 'r', 'm', '-', 'j', 'o', 'u', 'r', 'n', 'a', 'l', '\n', 1};
constexpr std::uint8_t one_player = 1, several_players = 2; // versions of records
constexpr std::size_t frame_bytes = 10;                     // before the payload
constexpr Time latest_believed{366LL * 24 * 3'600 * 1'000'000'000};
constexpr std::int64_t wall_believed_s = 253'402'300'799; // the last second of the year 9999

enum class Kind : std::uint8_t { head = 1, input = 2, check = 3, gap = 4, end = 5, texts = 6 };

// Of a whole record: everything but the sum itself.
std::uint32_t sum_of(std::span<const std::uint8_t> record) { return crc32c(record.subspan(8), crc32c(record.first(4))); }

class Writing
{
public:
    Writing(JournalBytes& bytes, Kind kind, std::uint8_t version = one_player) : bytes_(bytes), begin_(bytes.size())
    {
        number(std::uint64_t{0}, 8); // length and sum, filled in at the end
        number(static_cast<std::uint8_t>(kind), 1);
        number(version, 1);
    }
    ~Writing() { seal(); }
    Writing(const Writing&) = delete;
    Writing& operator=(const Writing&) = delete;

    void number(std::uint64_t value, int size)
    {
        for (int i = 0; i < size; ++i) bytes_.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
    }
    void time(Time at) { number(static_cast<std::uint64_t>(at.ns), 8); }
    void text(std::string_view text)
    {
        number(text.size(), 4);
        bytes_.insert(bytes_.end(), text.begin(), text.end());
    }

private:
    void put(std::size_t at, std::uint32_t value)
    {
        for (std::size_t i = 0; i < 4; ++i) bytes_[begin_ + at + i] = static_cast<std::uint8_t>(value >> (8 * i));
    }
    void seal()
    {
        put(0, static_cast<std::uint32_t>(bytes_.size() - begin_ - frame_bytes));
        put(4, sum_of(std::span<const std::uint8_t>{bytes_}.subspan(begin_)));
    }

    JournalBytes& bytes_;
    std::size_t begin_;
};

// Reads one payload; what does not fit is remembered and reads as 0.
class Reading
{
public:
    explicit Reading(std::span<const std::uint8_t> bytes) : bytes_(bytes) {}
    std::uint64_t number(std::size_t size)
    {
        std::uint64_t value = 0;
        const auto taken = block(size);
        for (std::size_t i = 0; i < taken.size(); ++i) value |= std::uint64_t{taken[i]} << (8 * i);
        return value;
    }
    Time time() { return {static_cast<std::int64_t>(number(8))}; }
    std::string text()
    {
        const auto taken = block(number(4));
        return {reinterpret_cast<const char*>(taken.data()), taken.size()};
    }
    std::span<const std::uint8_t> block(std::size_t size)
    {
        if (size > bytes_.size()) {
            fits_ = false;
            return {};
        }
        const auto taken = bytes_.first(size);
        bytes_ = bytes_.subspan(size);
        return taken;
    }
    bool whole() const { return fits_ && bytes_.empty(); }

private:
    std::span<const std::uint8_t> bytes_;
    bool fits_{true};
};

struct Record {
    Kind kind{};
    std::uint8_t version{0};
    std::span<const std::uint8_t> payload;
};

// Empty: what stands there is cut off or damaged.
std::optional<Record> record_at(std::span<const std::uint8_t> bytes)
{
    if (bytes.size() < frame_bytes) return std::nullopt;
    Reading frame{bytes};
    const auto length = frame.number(4);
    const auto sum = static_cast<std::uint32_t>(frame.number(4));
    if (length > bytes.size() - frame_bytes) return std::nullopt;
    if (sum_of(bytes.first(frame_bytes + length)) != sum) return std::nullopt;
    return Record{static_cast<Kind>(bytes[8]), bytes[9], bytes.subspan(frame_bytes, length)};
}

KeptText read_text(Reading& payload)
{
    KeptText kept;
    kept.name = payload.text();
    kept.content = payload.text();
    return kept;
}

void write_text(Writing& record, const KeptText& kept)
{
    record.text(kept.name);
    record.text(kept.content);
}

// False: a player has a file that is not there.
bool read_texts(Reading& payload, std::uint8_t version, ConfigurationTexts& texts)
{
    for (KeptText* kept : {&texts.configuration, &texts.instrument, &texts.target}) *kept = read_text(payload);
    if (version == one_player) return payload.whole();
    for (auto left = payload.number(1); left > 0; --left) texts.more.push_back(read_text(payload));
    const std::size_t files = 2 + texts.more.size();
    for (auto left = payload.number(1); left > 0; --left) {
        PlayersFiles player;
        player.instrument = static_cast<std::uint8_t>(payload.number(1));
        player.target = static_cast<std::uint8_t>(payload.number(1));
        if (player.instrument >= files || player.target >= files) return false;
        texts.others.push_back(player);
    }
    return payload.whole() && texts.players() <= players_at_most;
}

void write_texts(Writing& record, const ConfigurationTexts& texts)
{
    for (const KeptText* kept : {&texts.configuration, &texts.instrument, &texts.target}) write_text(record, *kept);
    if (texts.others.empty()) return;
    record.number(texts.more.size(), 1);
    for (const KeptText& kept : texts.more) write_text(record, kept);
    record.number(texts.others.size(), 1);
    for (const PlayersFiles& player : texts.others) {
        record.number(player.instrument, 1);
        record.number(player.target, 1);
    }
}

std::uint8_t version_of(const ConfigurationTexts& texts) { return texts.others.empty() ? one_player : several_players; }

// Nobody played at other times, and sums with them would overflow.  -1: before everything.
bool believed(Time at) { return at >= Time{-1} && at <= latest_believed; }

std::optional<JournalHead> head_of(Reading payload, std::uint8_t version)
{
    JournalHead head;
    // It only names things, so a wild one is no damage.
    head.wall_s = std::clamp(static_cast<std::int64_t>(payload.number(8)), -wall_believed_s, wall_believed_s);
    head.past_until = payload.time();
    head.build = payload.text();
    head.version = payload.text();
    const bool sound = read_texts(payload, version, head.texts) && believed(head.past_until);
    return sound ? std::optional{std::move(head)} : std::nullopt;
}

std::optional<JournalInput> input_of(Reading payload, std::uint8_t version)
{
    JournalInput input;
    input.at = payload.time();
    if (version == several_players) input.players = payload.number(8);
    input.source.number = static_cast<std::uint8_t>(payload.number(1));
    input.kind = static_cast<InputKind>(payload.number(1));
    const auto data = payload.block(input.data.size());
    std::copy(data.begin(), data.end(), input.data.begin());
    const bool message = input.kind != InputKind::midi || input.data[7] <= 3;
    return payload.whole() && input.kind <= InputKind::configured && message ? std::optional{input} : std::nullopt;
}

// False: the record is sound but says what cannot be.
bool take_in(Journal& journal, const Record& record)
{
    if (record.version != one_player && record.version != several_players) return true;
    Reading payload{record.payload};
    switch (record.kind) {
    case Kind::head: {
        if (journal.head) return false;
        journal.head = head_of(payload, record.version);
        return journal.head.has_value();
    }
    case Kind::input: {
        const auto input = input_of(payload, record.version);
        const Time before = journal.inputs.empty() ? Time{0} : journal.inputs.back().at;
        if (!input || input->at < before || input->at > latest_believed) return false;
        journal.inputs.push_back(*input);
        return true;
    }
    case Kind::check: {
        JournalCheck check;
        check.at = payload.time();
        if (record.version == several_players) check.player = static_cast<std::uint8_t>(payload.number(1));
        check.count = payload.number(8);
        check.hash = payload.number(8);
        journal.checks.push_back(check);
        return payload.whole() && believed(check.at);
    }
    case Kind::gap: {
        if (record.version != one_player) return true;
        const Time at = payload.time();
        journal.gaps.push_back({at, payload.number(8)});
        return payload.whole() && believed(at);
    }
    case Kind::texts: {
        NewTexts texts{payload.time(), {}};
        if (!read_texts(payload, record.version, texts.texts) || !believed(texts.from)) return false;
        journal.new_texts.push_back(std::move(texts));
        return true;
    }
    case Kind::end: {
        if (record.version != one_player) return true;
        const Time first = payload.time(), last = payload.time();
        const bool sound = payload.whole() && believed(first) && believed(last) && first <= last;
        if (sound) journal.end = TakeSpan{first, last};
        return sound;
    }
    }
    return true; // of a later version
}

} // namespace

bool is_key_struck(const Input& input)
{
    return input.source != source_again && input.kind == InputKind::midi && as_message(input).is_note_on();
}

JournalBytes journal_beginning() { return {beginning.begin(), beginning.end()}; }

void append_record(JournalBytes& bytes, const JournalHead& head)
{
    Writing record{bytes, Kind::head, version_of(head.texts)};
    record.number(static_cast<std::uint64_t>(head.wall_s), 8);
    record.time(head.past_until);
    record.text(head.build);
    record.text(head.version);
    write_texts(record, head.texts);
}

void append_record(JournalBytes& bytes, const Input& input) { append_record(bytes, JournalInput{input, only(0)}); }

void append_record(JournalBytes& bytes, const JournalInput& input)
{
    const bool several = input.players != only(0);
    Writing record{bytes, Kind::input, several ? several_players : one_player};
    record.time(input.at);
    if (several) record.number(input.players, 8);
    record.number(input.source.number, 1);
    record.number(static_cast<std::uint8_t>(input.kind), 1);
    for (const std::uint8_t byte : input.data) record.number(byte, 1);
}

void append_record(JournalBytes& bytes, const OutputCheck& check) { append_record(bytes, JournalCheck{check, 0}); }

void append_record(JournalBytes& bytes, const JournalCheck& check)
{
    Writing record{bytes, Kind::check, check.player == 0 ? one_player : several_players};
    record.time(check.at);
    if (check.player != 0) record.number(check.player, 1);
    record.number(check.count, 8);
    record.number(check.hash, 8);
}

void append_record(JournalBytes& bytes, const JournalGap& gap)
{
    Writing record{bytes, Kind::gap};
    record.time(gap.at);
    record.number(gap.inputs, 8);
}

void append_record(JournalBytes& bytes, const TakeSpan& end)
{
    Writing record{bytes, Kind::end};
    record.time(end.first);
    record.time(end.last);
}

void append_record(JournalBytes& bytes, const NewTexts& texts)
{
    Writing record{bytes, Kind::texts, version_of(texts.texts)};
    record.time(texts.from);
    write_texts(record, texts.texts);
}

ConfigurationTexts texts_for(const Journal& journal, const TakeSpan& span)
{
    ConfigurationTexts texts = journal.head ? journal.head->texts : ConfigurationTexts{};
    for (const NewTexts& later : journal.new_texts)
        if (later.from <= span.first) texts = later.texts;
    return texts;
}

Time player_began(const Journal& journal, const TakeSpan& span)
{
    Time began{0};
    for (const NewTexts& later : journal.new_texts)
        if (later.from <= span.first) began = later.from;
    return began;
}

Journal read_journal(std::span<const std::uint8_t> bytes)
{
    Journal journal;
    if (bytes.size() < beginning.size() || !std::equal(beginning.begin(), beginning.end(), bytes.begin())) {
        journal.damage = bytes.empty() ? "the file is empty" : "the file does not begin as a journal";
        return journal;
    }
    journal.is_journal = true;
    journal.sound_bytes = beginning.size();
    while (journal.sound_bytes < bytes.size()) {
        const auto record = record_at(bytes.subspan(journal.sound_bytes));
        if (!record || !take_in(journal, *record)) {
            journal.damage = "byte " + std::to_string(journal.sound_bytes) + ": a record is cut off or damaged";
            return journal;
        }
        journal.sound_bytes += frame_bytes + record->payload.size();
    }
    return journal;
}

bool begins_a_take(const Input& input)
{
    if (input.source == source_again) return false;
    if (input.kind == InputKind::tempo || input.kind == InputKind::meter) return true;
    return input.kind == InputKind::midi && input.data[7] > 0 && input.data[0] < static_cast<std::uint8_t>(MessageKind::system);
}

std::optional<TakeSpan> span_of(const Journal& journal, Duration silence)
{
    if (journal.end) return journal.end;
    Time past = journal.head ? journal.head->past_until : Time{-1};
    if (!journal.new_texts.empty()) past = std::max(past, journal.new_texts.back().from);
    const auto& inputs = journal.inputs;
    const auto after = std::find_if(inputs.begin(), inputs.end(), [past](const Input& i) { return i.at > past; });
    const auto note = std::find_if(after, inputs.end(), is_key_struck);
    if (note == inputs.end()) return std::nullopt;
    const Time earliest = note->at - silence;
    const auto first = std::find_if(after, note, [earliest](const Input& i) { return i.at >= earliest && begins_a_take(i); });
    return TakeSpan{first->at, inputs.back().at};
}

} // namespace bowarm
