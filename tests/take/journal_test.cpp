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

// Of three players: the second has files of its own, the third the first one's instrument.
ConfigurationTexts texts_of_three()
{
    return {{"bowarm.toml", "version = 1\n"},
            {"violin.toml", "v"},
            {"general-midi.toml", "g"},
            {{"cello.toml", "c"}, {"demo.toml", "d"}},
            {{2, 3}, {0, 3}}};
}

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

// Who applied the inputs of `some_inputs`, one after the other.
constexpr PlayerSet who[] = {only(0), only(0) | only(1) | only(2), only(1), only(63)};

struct Written {
    JournalBytes bytes;
    std::vector<std::size_t> ends; // of each record, the beginning's included
    std::vector<Input> inputs;
};

Written written()
{
    Written w{journal_beginning(), {}, some_inputs()};
    w.ends.push_back(w.bytes.size());
    JournalHead of_three = head();
    of_three.texts = texts_of_three();
    append_record(w.bytes, of_three);
    w.ends.push_back(w.bytes.size());
    for (std::size_t i = 0; i < w.inputs.size(); ++i) {
        append_record(w.bytes, JournalInput{w.inputs[i], who[i % std::size(who)]});
        w.ends.push_back(w.bytes.size());
    }
    return w;
}

bool same(const Input& a, const Input& b) { return a.at == b.at && a.source == b.source && a.kind == b.kind && a.data == b.data; }

// The inputs are the first of those that were written, each with its players.
bool is_beginning_of(const std::vector<JournalInput>& read, const std::vector<Input>& all)
{
    for (std::size_t i = 0; i < read.size(); ++i)
        if (i >= all.size() || !same(read[i], all[i]) || read[i].players != who[i % std::size(who)]) return false;
    return true;
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
    append_record(w.bytes, JournalCheck{{Time{6}, 8, 9}, 63});
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
    REQUIRE(journal.head->texts.players() == 3);
    CHECK(journal.head->texts.file(journal.head->texts.others[0].instrument).content == "c");
    CHECK(journal.head->texts.file(journal.head->texts.others[1].target).content == "d");
    CHECK(journal.inputs.size() == w.inputs.size());
    CHECK(is_beginning_of(journal.inputs, w.inputs));
    REQUIRE(journal.checks.size() == 2);
    CHECK(journal.checks[0] == OutputCheck{Time{5}, 7, 0x123456789ABCDEF0});
    CHECK(journal.checks[0].player == 0);
    CHECK(journal.checks[1] == OutputCheck{Time{6}, 8, 9});
    CHECK(journal.checks[1].player == 63);
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
        for (const JournalInput& input : journal.inputs) {
            next = std::find_if(next, w.inputs.end(), [&](const Input& given) { return same(given, input); });
            REQUIRE(next != w.inputs.end());
            REQUIRE(input.players == who[static_cast<std::size_t>(next - w.inputs.begin()) % std::size(who)]);
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

TEST_CASE("the same player gives the same messages, and another one is told, and where")
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

TEST_CASE("a player whose bow goes on when its last input is long past is held against all that it sent until the take's end")
{
    const PlayerConfig config = violin_config();
    Player player{config};
    Hashing sink;
    JournalBytes bytes = journal_beginning();
    append_record(bytes, head());
    append_record(bytes, JournalCheck{{Time{}, 0, 0}, 1}); // as of a player that has just come and never plays
    const Input held = key(100, 62, true);
    append_record(bytes, held);
    player.on(held, sink);
    for (int ms = 200; ms <= 3000; ms += 200) {
        advance(player, Time{ms * 1'000'000LL}, sink);
        append_record(bytes, sink.hash.now());
    }
    append_record(bytes, JournalInput{key(3000, 40, true), only(1)});
    const Journal journal = read_journal(bytes);
    const TakeSpan span{held.at, Time{3'000'000'000}};
    const Replayed again = replayed(journal, span, config, 0);
    CHECK_FALSE(again.difference);
    CHECK(again.checked == sink.hash.now().count);
    CHECK_FALSE(replayed(journal, span, config, 1).difference);
    CHECK(replayed(journal, span, config, 1).checked == 0);
}

// The form that one player has always had, written out by hand: readers of every version know it.
TEST_CASE("of one player the journal has the first version's records")
{
    JournalBytes bytes;
    append_record(bytes, midi_input(Time{0x0102}, {3}, note_on(Channel{}, Midi7::nearest(60), Midi7::nearest(80))));
    REQUIRE(bytes.size() == 10 + 8 + 1 + 1 + 8);
    CHECK(bytes[8] == 2); // kind
    CHECK(bytes[9] == 1); // version
    CHECK(JournalBytes(bytes.begin() + 10, bytes.end()) == JournalBytes{2, 1, 0, 0, 0, 0, 0, 0, 3, 0, 0x90, 60, 80, 0, 0, 0, 0, 3});
    bytes.clear();
    append_record(bytes, OutputCheck{Time{1}, 2, 3});
    CHECK(bytes[9] == 1);
    bytes.clear();
    append_record(bytes, head());
    CHECK(bytes[9] == 1);
}

TEST_CASE("players whose files are not there, and more players than there can be, are damage")
{
    JournalHead odd = head();
    odd.texts = texts_of_three();
    odd.texts.others[0].target = 4; // there are four files, from 0
    JournalBytes bytes = journal_beginning();
    append_record(bytes, odd);
    CHECK_FALSE(read_journal(bytes).head);
    CHECK_FALSE(read_journal(bytes).damage.empty());
    odd = head();
    odd.texts.others.assign(64, {0, 1});
    bytes = journal_beginning();
    append_record(bytes, odd);
    CHECK_FALSE(read_journal(bytes).head);
    odd.texts.others.resize(63);
    bytes = journal_beginning();
    append_record(bytes, odd);
    REQUIRE(read_journal(bytes).head);
    CHECK(read_journal(bytes).head->texts.players() == 64);
}

TEST_CASE("three players in one journal: each is played again from its own inputs to its own messages")
{
    const PlayerConfig config = violin_config();
    for (unsigned seed = 1; seed <= 10; ++seed) {
        CAPTURE(seed);
        std::vector<Player> players;
        std::vector<Hashing> sinks(3);
        std::vector<JournalInput> all;
        for (std::size_t p = 0; p < 3; ++p) {
            players.emplace_back(config);
            for (const Input& input : random_playing(seed * 10 + static_cast<unsigned>(p), 60)) all.push_back({input, only(p)});
        }
        std::stable_sort(all.begin(), all.end(), [](const JournalInput& a, const JournalInput& b) { return a.at < b.at; });
        JournalBytes bytes = journal_beginning();
        append_record(bytes, head());
        for (const JournalInput& input : all) {
            append_record(bytes, input);
            for (std::size_t p = 0; p < 3; ++p) {
                if (input.players != only(p)) continue;
                advance(players[p], input.at, sinks[p]);
                players[p].on(input, sinks[p]);
                append_record(bytes, JournalCheck{sinks[p].hash.now(), static_cast<std::uint8_t>(p)});
            }
        }
        const Journal journal = read_journal(bytes);
        const TakeSpan half{all[all.size() / 2].at, all.back().at};
        for (std::size_t p = 0; p < 3; ++p) {
            CAPTURE(p);
            const Replayed again = replayed(journal, half, config, p);
            CHECK_FALSE(again.difference);
            CHECK(again.checked > 20);
            // Another player's inputs give other messages.
            CHECK(replayed(journal, half, config, (p + 1) % 3).take.sent().size() != again.take.sent().size());
        }
    }
}
