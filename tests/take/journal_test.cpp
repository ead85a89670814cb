// The journal's form: whatever happens to its bytes, what is read was written, in its order, and ends before the damage.
#include "take/journal.hpp"

#include "player/random_playing.hpp"
#include "take/crc32c.hpp"
#include "take/replayed.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <limits>
#include <random>
#include <string_view>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

std::span<const std::uint8_t> bytes_of(std::string_view text) { return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()}; }

JournalHead head()
{
    return {
        1'700'000'000, Time{-1}, "a build", "0.1.0", {{"bowarm.toml", "version = 1\n"}, {"violin.toml", "v"}, {"general-midi.toml", "g"}}};
}

Input key(std::int64_t ms, int pitch, bool down)
{
    const Midi7 p = Midi7::nearest(pitch);
    return midi_input(Time{ms * 1'000'000}, {0}, down ? note_on(Channel{}, p, Midi7::nearest(80)) : note_off(Channel{}, p));
}

std::vector<Input> some_inputs()
{
    std::vector<Input> inputs;
    for (int n = 0; n < 12; ++n) {
        inputs.push_back(key(1000 + 200 * n, 60 + n, true));
        inputs.push_back(midi_input(Time{(1050 + 200 * n) * 1'000'000LL}, {0}, {{0xF8, 0, 0}, 1}));
        inputs.push_back(command_input(Time{(1060 + 200 * n) * 1'000'000LL}, Command::tap_beat));
        inputs.push_back(key(1150 + 200 * n, 60 + n, false));
    }
    return inputs;
}

struct Written {
    JournalBytes bytes;
    std::vector<std::size_t> ends; // of each record, the beginning's included
    std::vector<Input> inputs;
};

Written written()
{
    Written w{journal_beginning(), {}, some_inputs()};
    w.ends.push_back(w.bytes.size());
    append_record(w.bytes, head());
    w.ends.push_back(w.bytes.size());
    for (const Input& input : w.inputs) {
        append_record(w.bytes, input);
        w.ends.push_back(w.bytes.size());
    }
    return w;
}

bool same(const Input& a, const Input& b) { return a.at == b.at && a.source == b.source && a.kind == b.kind && a.data == b.data; }

// The inputs are the first of those that were written.
bool is_beginning_of(const std::vector<Input>& read, const std::vector<Input>& all)
{
    return read.size() <= all.size() && std::equal(read.begin(), read.end(), all.begin(), same);
}

// Outputs of a player, as the service hands them to the journal.
struct Hashing final : Sink {
    void bundle(Time at, std::span<const Message> messages) noexcept override { hash.bundle(at, messages); }
    void curve(Time at, Controller controller, int value) noexcept override { hash.curve(at, controller, value); }
    void fact(const Fact&) noexcept override {}
    OutputHash hash;
};

// A session in the form in which the service writes it: checks between the inputs.
Journal session(const PlayerConfig& config, const std::vector<Input>& inputs)
{
    JournalBytes bytes = journal_beginning();
    append_record(bytes, head());
    Player player{config};
    Hashing sink;
    for (const Input& input : inputs) {
        advance(player, input.at, sink);
        append_record(bytes, input);
        player.on(input, sink);
        append_record(bytes, sink.hash.now());
    }
    return read_journal(bytes);
}

} // namespace

// RFC 3720, B.4 (iSCSI CRC examples), and the check value of CRC-32C in the catalogue of parametrised CRC algorithms.
TEST_CASE("the checksum is CRC-32C")
{
    CHECK(crc32c(bytes_of("123456789")) == 0xE3069283);
    CHECK(crc32c(bytes_of("6789"), crc32c(bytes_of("12345"))) == 0xE3069283);
    const std::vector<std::uint8_t> zeros(32, 0), ones(32, 0xFF);
    CHECK(crc32c(zeros) == 0x8A9136AA);
    CHECK(crc32c(ones) == 0x62A8AB43);
}

TEST_CASE("what was written is read")
{
    Written w = written();
    append_record(w.bytes, OutputCheck{Time{5}, 7, 0x123456789ABCDEF0});
    append_record(w.bytes, JournalGap{Time{6}, 3});
    append_record(w.bytes, NewTexts{Time{7}, {{"new.toml", "n"}, {}, {}}});
    append_record(w.bytes, TakeSpan{Time{1}, Time{9}});
    const Journal journal = read_journal(w.bytes);
    CHECK(journal.damage.empty());
    CHECK(journal.sound_bytes == w.bytes.size());
    REQUIRE(journal.head);
    CHECK(journal.head->wall_s == 1'700'000'000);
    CHECK(journal.head->build == "a build");
    CHECK(journal.head->texts.target.content == "g");
    CHECK(journal.inputs.size() == w.inputs.size());
    CHECK(is_beginning_of(journal.inputs, w.inputs));
    REQUIRE(journal.checks.size() == 1);
    CHECK(journal.checks[0] == OutputCheck{Time{5}, 7, 0x123456789ABCDEF0});
    REQUIRE(journal.gaps.size() == 1);
    CHECK(journal.gaps[0].inputs == 3);
    CHECK(texts_for(journal, {Time{6}, Time{9}}).configuration.name == "bowarm.toml");
    CHECK(texts_for(journal, {Time{7}, Time{9}}).configuration.name == "new.toml");
    CHECK(span_of(journal, Duration{0})->last == Time{9});
}

TEST_CASE("cut at every byte: all complete records before the cut are there, and nothing else")
{
    const Written w = written();
    for (std::size_t cut = 0; cut <= w.bytes.size(); ++cut) {
        CAPTURE(cut);
        const Journal journal = read_journal(std::span{w.bytes}.first(cut));
        const auto whole =
            static_cast<std::size_t>(std::count_if(w.ends.begin(), w.ends.end(), [cut](std::size_t end) { return end <= cut; }));
        const std::size_t inputs = whole > 2 ? whole - 2 : 0;
        REQUIRE(journal.inputs.size() == inputs);
        REQUIRE(is_beginning_of(journal.inputs, w.inputs));
        const bool at_a_seam = std::find(w.ends.begin(), w.ends.end(), cut) != w.ends.end();
        REQUIRE(journal.damage.empty() == at_a_seam);
    }
}

TEST_CASE("every single flipped bit: the records before it are there, none behind it is believed, no note is invented")
{
    const Written w = written();
    JournalBytes damaged = w.bytes;
    for (std::size_t at = 0; at < damaged.size(); ++at) {
        for (int bit = 0; bit < 8; ++bit) {
            damaged[at] = static_cast<std::uint8_t>(damaged[at] ^ 1U << bit);
            const Journal journal = read_journal(damaged);
            const auto before =
                static_cast<std::size_t>(std::count_if(w.ends.begin(), w.ends.end(), [at](std::size_t end) { return end <= at; }));
            REQUIRE(journal.inputs.size() == (before > 2 ? before - 2 : 0));
            REQUIRE(is_beginning_of(journal.inputs, w.inputs));
            REQUIRE_FALSE(journal.damage.empty());
            damaged[at] = static_cast<std::uint8_t>(damaged[at] ^ 1U << bit);
        }
    }
}

TEST_CASE("bytes written over, torn out and put in anywhere: what is read was written")
{
    const Written w = written();
    std::mt19937 random{71};
    for (int round = 0; round < 3000; ++round) {
        CAPTURE(round);
        JournalBytes bytes = w.bytes;
        const auto from = static_cast<std::ptrdiff_t>(random() % bytes.size());
        const auto length = std::min<std::ptrdiff_t>(1 + static_cast<std::ptrdiff_t>(random() % 60), std::ssize(bytes) - from);
        switch (random() % 3) {
        case 0:
            for (auto i = from; i < from + length; ++i) bytes[static_cast<std::size_t>(i)] = static_cast<std::uint8_t>(random());
            break;
        case 1:
            bytes.erase(bytes.begin() + from, bytes.begin() + from + length);
            break;
        default:
            bytes.insert(bytes.begin() + from, static_cast<std::size_t>(length), static_cast<std::uint8_t>(random()));
        }
        // A whole record torn out leaves a sound journal without it: still nothing that was not written.
        const Journal journal = read_journal(bytes);
        auto next = w.inputs.begin();
        for (const Input& input : journal.inputs) {
            next = std::find_if(next, w.inputs.end(), [&](const Input& given) { return same(given, input); });
            REQUIRE(next != w.inputs.end());
            ++next;
        }
        const auto before = static_cast<std::size_t>(
            std::count_if(w.ends.begin(), w.ends.end(), [from](std::size_t end) { return static_cast<std::ptrdiff_t>(end) <= from; }));
        REQUIRE(journal.inputs.size() >= (before > 2 ? before - 2 : 0));
    }
}

TEST_CASE("a clock that jumps, in records with a right checksum: back and far ahead are damage, nothing hangs")
{
    for (const std::int64_t at :
         {std::int64_t{0}, std::int64_t{-1}, std::numeric_limits<std::int64_t>::min(), std::numeric_limits<std::int64_t>::max()}) {
        CAPTURE(at);
        Written w = written();
        Input odd = key(0, 60, true);
        odd.at = Time{at};
        append_record(w.bytes, odd);
        append_record(w.bytes, key(99'000, 61, true));
        const Journal journal = read_journal(w.bytes);
        CHECK(journal.inputs.size() == w.inputs.size());
        CHECK_FALSE(journal.damage.empty());
    }
    // The wall clock only names things.
    JournalBytes bytes = journal_beginning();
    JournalHead odd = head();
    odd.wall_s = std::numeric_limits<std::int64_t>::min();
    append_record(bytes, odd);
    CHECK(read_journal(bytes).head);
}

TEST_CASE("times that nobody played at are damage in every kind of record, and no sum with them overflows")
{
    constexpr auto lowest = std::numeric_limits<std::int64_t>::min(), highest = std::numeric_limits<std::int64_t>::max();
    for (const Time wild : {Time{lowest}, Time{-2}, Time{highest}}) {
        CAPTURE(wild.ns);
        JournalHead with_past = head();
        with_past.past_until = wild;
        JournalBytes bytes = journal_beginning();
        append_record(bytes, with_past);
        CHECK_FALSE(read_journal(bytes).damage.empty());
        const auto is_damage = [](const auto& record) {
            Written w = written();
            append_record(w.bytes, record);
            const Journal journal = read_journal(w.bytes);
            CHECK(journal.inputs.size() == w.inputs.size());
            return !journal.damage.empty();
        };
        CHECK(is_damage(OutputCheck{wild, 1, 2}));
        CHECK(is_damage(JournalGap{wild, 1}));
        CHECK(is_damage(NewTexts{wild, {}}));
        CHECK(is_damage(TakeSpan{Time{0}, wild}));
        CHECK(is_damage(TakeSpan{wild, Time{0}}));
        CHECK(is_damage(TakeSpan{Time{2}, Time{1}}));
    }
}

TEST_CASE("records of kinds and versions to come are passed over")
{
    Written w = written();
    const std::size_t begin = w.bytes.size();
    append_record(w.bytes, key(99'000, 61, true));
    w.bytes[begin + 8] = 200; // a kind that nobody knows
    const std::uint32_t sum = crc32c(std::span{w.bytes}.subspan(begin + 8), crc32c(std::span{w.bytes}.subspan(begin, 4)));
    for (std::size_t i = 0; i < 4; ++i) w.bytes[begin + 4 + i] = static_cast<std::uint8_t>(sum >> 8 * i);
    append_record(w.bytes, key(99'500, 62, true));
    const Journal journal = read_journal(w.bytes);
    CHECK(journal.damage.empty());
    REQUIRE(journal.inputs.size() == w.inputs.size() + 1);
    CHECK(journal.inputs.back().data[1] == 62);
}

TEST_CASE("an unfinished take begins with its first note, and with what moved up to so long before")
{
    JournalBytes bytes = journal_beginning();
    JournalHead with_past = head();
    with_past.past_until = Time{2'000'000'000};
    append_record(bytes, with_past);
    append_record(bytes, key(1'000, 50, true));
    append_record(bytes, key(1'500, 50, false));
    const auto pedal = [](std::int64_t ms) {
        return midi_input(Time{ms * 1'000'000}, {0}, control_change(Channel{}, Midi7::nearest(11), Midi7::nearest(9)));
    };
    append_record(bytes, pedal(3'000));
    append_record(bytes, pedal(58'000));
    CHECK_FALSE(span_of(read_journal(bytes), milliseconds(20'000)));
    append_record(bytes, key(60'000, 62, true));
    append_record(bytes, key(61'000, 62, false));
    const auto span = span_of(read_journal(bytes), milliseconds(20'000));
    REQUIRE(span);
    CHECK(span->first == Time{58'000'000'000});
    CHECK(span->last == Time{61'000'000'000});
}

TEST_CASE("the same player gives the same messages; another one is told, and where")
{
    const PlayerConfig config = violin_config();
    for (unsigned seed = 1; seed <= 20; ++seed) {
        CAPTURE(seed);
        const auto inputs = random_playing(seed, 120);
        const Journal journal = session(config, inputs);
        const TakeSpan all{inputs.front().at, inputs.back().at};
        const Replayed whole = replayed(journal, all, config);
        CHECK_FALSE(whole.difference);
        CHECK(whole.checked > 50);
        // A take in the middle of the session: the player's past is lived through first.
        const TakeSpan late{inputs[inputs.size() / 2].at, inputs.back().at};
        const Replayed part = replayed(journal, late, config);
        CHECK_FALSE(part.difference);
        CHECK(part.take.sent().size() < whole.take.sent().size());
        const auto first =
            std::find_if(whole.take.sent().begin(), whole.take.sent().end(), [&](const SentMessage& s) { return s.at > late.first; });
        const auto own =
            std::find_if(part.take.sent().begin(), part.take.sent().end(), [&](const SentMessage& s) { return s.at > late.first; });
        CHECK(std::equal(first, whole.take.sent().end(), own, part.take.sent().end(),
                         [](const SentMessage& a, const SentMessage& b) { return a.at == b.at && a.message == b.message; }));
    }
    PlayerConfig other = config;
    other.target.channel = *Channel::from(3);
    const auto inputs = random_playing(3, 120);
    const Replayed differs = replayed(session(config, inputs), {inputs.front().at, inputs.back().at}, other);
    REQUIRE(differs.difference);
    CHECK(differs.difference->before <= inputs.back().at);
}
