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
constexpr std::uint8_t record_version = 1;
constexpr std::size_t frame_bytes = 10; // before the payload
constexpr Time latest_believed{366LL * 24 * 3'600 * 1'000'000'000};
constexpr std::int64_t wall_believed_s = 253'402'300'799; // the last second of the year 9999

enum class Kind : std::uint8_t { head = 1, input = 2, check = 3, gap = 4, end = 5, texts = 6 };

// Of a whole record: everything but the sum itself.
std::uint32_t sum_of(std::span<const std::uint8_t> record) { return crc32c(record.subspan(8), crc32c(record.first(4))); }

class Writing
{
public:
    Writing(JournalBytes& bytes, Kind kind) : bytes_(bytes), begin_(bytes.size())
    {
        number(std::uint64_t{0}, 8); // length and sum, filled in at the end
        number(static_cast<std::uint8_t>(kind), 1);
        number(record_version, 1);
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

void read_texts(Reading& payload, ConfigurationTexts& texts)
{
    for (KeptText* kept : {&texts.configuration, &texts.instrument, &texts.target}) {
        kept->name = payload.text();
        kept->content = payload.text();
    }
}

void write_texts(Writing& record, const ConfigurationTexts& texts)
{
    for (const KeptText* kept : {&texts.configuration, &texts.instrument, &texts.target}) {
        record.text(kept->name);
        record.text(kept->content);
    }
}

// Nobody played at other times, and sums with them would overflow.  -1: before everything.
bool believed(Time at) { return at >= Time{-1} && at <= latest_believed; }

std::optional<JournalHead> head_of(Reading payload)
{
    JournalHead head;
    // It only names things, so a wild one is no damage.
    head.wall_s = std::clamp(static_cast<std::int64_t>(payload.number(8)), -wall_believed_s, wall_believed_s);
    head.past_until = payload.time();
    head.build = payload.text();
    head.version = payload.text();
    read_texts(payload, head.texts);
    const bool sound = payload.whole() && believed(head.past_until);
    return sound ? std::optional{std::move(head)} : std::nullopt;
}

std::optional<Input> input_of(Reading payload)
{
    Input input;
    input.at = payload.time();
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
    if (record.version != record_version) return true;
    Reading payload{record.payload};
    switch (record.kind) {
    case Kind::head: {
        if (journal.head) return false;
        journal.head = head_of(payload);
        return journal.head.has_value();
    }
    case Kind::input: {
        const auto input = input_of(payload);
        const Time before = journal.inputs.empty() ? Time{0} : journal.inputs.back().at;
        if (!input || input->at < before || input->at > latest_believed) return false;
        journal.inputs.push_back(*input);
        return true;
    }
    case Kind::check: {
        const Time at = payload.time();
        const std::uint64_t count = payload.number(8);
        journal.checks.push_back({at, count, payload.number(8)});
        return payload.whole() && believed(at);
    }
    case Kind::gap: {
        const Time at = payload.time();
        journal.gaps.push_back({at, payload.number(8)});
        return payload.whole() && believed(at);
    }
    case Kind::texts: {
        NewTexts texts{payload.time(), {}};
        read_texts(payload, texts.texts);
        const bool sound = payload.whole() && believed(texts.from);
        journal.new_texts.push_back(std::move(texts));
        return sound;
    }
    case Kind::end: {
        const Time first = payload.time(), last = payload.time();
        const bool sound = payload.whole() && believed(first) && believed(last) && first <= last;
        if (sound) journal.end = TakeSpan{first, last};
        return sound;
    }
    }
    return true; // of a later version
}

bool is_note_on(const Input& input)
{
    return input.kind == InputKind::midi && Message{{input.data[0], input.data[1], input.data[2]}, input.data[7]}.is_note_on();
}

} // namespace

JournalBytes journal_beginning() { return {beginning.begin(), beginning.end()}; }

void append_record(JournalBytes& bytes, const JournalHead& head)
{
    Writing record{bytes, Kind::head};
    record.number(static_cast<std::uint64_t>(head.wall_s), 8);
    record.time(head.past_until);
    record.text(head.build);
    record.text(head.version);
    write_texts(record, head.texts);
}

void append_record(JournalBytes& bytes, const Input& input)
{
    Writing record{bytes, Kind::input};
    record.time(input.at);
    record.number(input.source.number, 1);
    record.number(static_cast<std::uint8_t>(input.kind), 1);
    for (const std::uint8_t byte : input.data) record.number(byte, 1);
}

void append_record(JournalBytes& bytes, const OutputCheck& check)
{
    Writing record{bytes, Kind::check};
    record.time(check.at);
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
    Writing record{bytes, Kind::texts};
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
    const auto note = std::find_if(after, inputs.end(), is_note_on);
    if (note == inputs.end()) return std::nullopt;
    const Time earliest = note->at - silence;
    const auto first = std::find_if(after, note, [earliest](const Input& i) { return i.at >= earliest && begins_a_take(i); });
    return TakeSpan{first->at, inputs.back().at};
}

} // namespace bowarm
