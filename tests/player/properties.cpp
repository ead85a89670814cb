// Laws that hold whatever is played.
#include "player/random_playing.hpp"

#include <doctest/doctest.h>
#include <map>
#include <set>
#include <string>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr int keyswitches = technique_count + 1; // keys from 0 on of the test target select techniques

// Follows what a sampler would hear and what the player says, and complains in words.
class Checker final : public Sink
{
public:
    void bundle(Time at, std::span<const Message> messages) noexcept override
    {
        if (messages.empty() || messages.size() > bundle_limit) complain("a bundle of no or too many messages");
        in_order(at);
        bool begun = false;
        for (const Message& m : messages) {
            const bool is_key = m.is_note_on() || m.is_note_off();
            const bool keyswitch = is_key && m.first().get() < keyswitches;
            if (begun && (keyswitch || !is_key)) complain("a switch or a value behind the note it was meant for");
            begun = begun || (m.is_note_on() && !keyswitch);
            hear(m);
        }
    }
    void curve(Time at, Controller c, int value) noexcept override
    {
        in_order(at);
        if (value < 0 || value > c.highest()) complain("a curve value outside its range");
    }
    void fact(const Fact& f) noexcept override
    {
        in_order(f.at);
        if (f.kind == FactKind::note_began) {
            if (latched_ != keyswitch_of(f.technique) && latched_ != up_keyswitch_of(f.technique))
                complain("a note sounds with another technique than the one reported");
            if (!f.plucked && f.stroke != stroke_) complain("a note belongs to a stroke that is not under way");
        }
        if (f.kind == FactKind::note_began) told_.insert(f.note);
        if (f.kind == FactKind::note_ended && told_.erase(f.note) == 0) complain("a note ended that had not begun");
        if (f.kind == FactKind::stroke_began) stroke_began(f);
        if (f.kind == FactKind::stroke_ended) {
            place_ = f.hair_to.value;
            in_hair(f.hair_to.value);
        }
        if (f.kind == FactKind::part_ended) {
            in_hair(f.hair_from.value);
            in_hair(f.hair_to.value);
            if (f.motion.force < Newtons{0} || f.motion.speed < MetresPerSecond{0}) complain("a negative force or speed");
        }
    }
    void look(const Snapshot& s)
    {
        in_hair(s.hair.value);
        if (s.on_string && s.technique != Technique::tremolo && s.direction != direction_)
            complain("the direction changed inside a stroke");
    }
    int sounding() const
    {
        int n = 0;
        for (const auto& [key, on] : on_) n += on;
        return n;
    }
    std::size_t told() const { return told_.size(); }
    std::string complaint;

private:
    static int keyswitch_of(Technique t) { return static_cast<int>(t); }
    static int up_keyswitch_of(Technique t) { return t == Technique::detache ? technique_count : static_cast<int>(t); }
    void complain(const char* what)
    {
        if (complaint.empty()) complaint = what;
    }
    void in_order(Time at)
    {
        if (at < last_) complain("time ran backwards");
        last_ = at;
    }
    void in_hair(double place)
    {
        if (!(place >= 0 && place <= 1)) complain("the bow is off its hair");
    }
    void stroke_began(const Fact& f)
    {
        const double from = f.hair_from.value;
        in_hair(from);
        const bool told_again = !first_ && f.stroke == stroke_; // a chord turned it before it was heard
        if (!first_ && !told_again && !f.retake && (from > place_ + 1e-9 || from < place_ - 1e-9))
            complain("the bow jumped without a retake");
        if (f.forced && f.direction == direction_) complain("a forced change kept its direction");
        first_ = false;
        stroke_ = f.stroke;
        direction_ = f.direction;
    }
    void hear(const Message& m)
    {
        const int key = m.first().get();
        if (m.is_note_on()) {
            if (on_[key]++ != 0) complain("a key that sounds was struck again without its note-off");
            if (key < keyswitches) latched_ = key;
        } else if (m.is_note_off()) {
            if (on_[key]-- != 1) complain("a note-off for a key that does not sound");
        }
    }

    std::map<int, int> on_;
    std::set<std::uint32_t> told_; // notes said to have begun and not to have ended
    Time last_{};
    int latched_{-1};
    bool first_{true};
    double place_{0};
    std::uint32_t stroke_{no_number};
    Direction direction_{Direction::down};
};

void check_playing(std::uint64_t seed, const std::vector<Input>& playing)
{
    Player player{random_config(seed)};
    Checker checker;
    Dice looks(seed + 1);
    Snapshot snapshot;
    Time last{};
    for (const Input& input : playing) {
        advance(player, input.at, checker);
        player.on(input, checker);
        last = input.at;
        if (looks.one_in(3)) {
            player.read(snapshot);
            checker.look(snapshot);
        }
        if (!checker.complaint.empty()) break;
    }
    // Every source goes: silence, and a player that has nothing left to do.
    for (std::uint8_t source = 0; source < 3; ++source) player.on({last, Source{source}, InputKind::port_lost, {}}, checker);
    advance(player, last + milliseconds(60'000), checker);
    if (player.next_wake() != Time::never() && checker.complaint.empty()) checker.complaint = "something is pending in silence";
    if (checker.sounding() != 0 && checker.complaint.empty()) checker.complaint = "a note sounds though every key is up";
    if (checker.told() != 0 && checker.complaint.empty()) checker.complaint = "a note was never said to have ended";
    CAPTURE(seed);
    CHECK(checker.complaint == "");
}

} // namespace

TEST_CASE("whatever is played: notes balance, the bow stays on its hair and moves continuously, a switch precedes its note")
{
    for (std::uint64_t seed = 1; seed <= 100'000; ++seed) check_playing(seed, random_playing(seed, 14));
    for (std::uint64_t seed = 1; seed <= 400; ++seed) check_playing(seed + 7'000'000, random_playing(seed + 7'000'000, 600));
}

TEST_CASE("the same of hands that hold notes under a melody")
{
    for (std::uint64_t seed = 1; seed <= 20'000; ++seed) check_playing(seed, random_two_voices(seed, 40));
    for (std::uint64_t seed = 1; seed <= 400; ++seed) check_playing(seed + 7'000'000, random_two_voices(seed + 7'000'000, 600));
}

TEST_CASE("when a wake-up comes has no influence on what is sent")
{
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        const auto playing = seed % 2 == 0 ? random_playing(seed, 60) : random_two_voices(seed, 60);
        Memory prompt;
        Memory late;
        PlayerConfig config = random_config(seed);
        config.desks = static_cast<std::uint8_t>(seed % 5 == 0 ? 3 : 1);
        Player a{config};
        Player b{config};
        Dice dice(seed);
        for (const Input& input : playing) {
            // The prompt one is woken at every moment that something is due and at others too, the late one only before inputs.
            while (a.next_wake() <= input.at && a.next_wake() != Time::never()) {
                if (dice.one_in(2))
                    advance(a, a.next_wake(), prompt);
                else
                    a.wake(prompt);
            }
            a.on(input, prompt);
            advance(b, input.at, late);
            b.on(input, late);
        }
        REQUIRE(prompt.sent.size() == late.sent.size());
        for (std::size_t i = 0; i < prompt.sent.size(); ++i) {
            REQUIRE(prompt.sent[i].at == late.sent[i].at);
            REQUIRE((prompt.sent[i].message == late.sent[i].message));
        }
    }
}

namespace
{

// Every decision in the order told, and everything sent.
class Deciding final : public Sink
{
public:
    struct Told {
        Time at;
        std::uint32_t note{0};
        Direction direction{Direction::down};
        bool retake{false};
        bool operator==(const Told&) const = default;
    };
    void bundle(Time at, std::span<const Message> messages) noexcept override { memory.bundle(at, messages); }
    void curve(Time at, Controller c, int value) noexcept override { memory.curve(at, c, value); }
    void fact(const Fact&) noexcept override {}
    void decided(Time at, std::uint32_t note, const ChoiceNeeds&, Direction direction, bool retake) noexcept override
    {
        told.push_back({at, note, direction, retake});
    }
    Memory memory;
    std::vector<Told> told;
};

} // namespace

TEST_CASE("an input changes no decision that was made before it, and nothing that was sent")
{
    std::size_t decisions = 0;
    for (std::uint64_t seed = 1; seed <= 3'000; ++seed) {
        CAPTURE(seed);
        Dice dice(seed + 5);
        const auto playing = random_playing(seed, 50);
        // The same beginning, and another continuation from a moment on.
        const auto cut = static_cast<std::size_t>(1 + dice.below(49));
        const Time seam = playing[cut].at;
        auto other = std::vector<Input>(playing.begin(), playing.begin() + static_cast<std::ptrdiff_t>(cut));
        for (Input input : random_playing(seed + 1'000'000, 20)) {
            input.at = seam + (input.at - Time{});
            other.push_back(input);
        }
        const auto run = [&](const std::vector<Input>& inputs) {
            Player player{random_config(seed)};
            Deciding sink;
            for (const Input& input : inputs) {
                advance(player, input.at, sink);
                player.on(input, sink);
            }
            return sink;
        };
        const Deciding one = run(playing);
        const Deciding two = run(other);
        for (std::size_t i = 0; i < one.told.size() && one.told[i].at < seam; ++i, ++decisions) {
            // A chord's decision keeps its stroke's moment when a later key joins it: told again, it is a new decision.
            const bool told_again = i > 0 && one.told[i].note == one.told[i - 1].note;
            if (told_again) break;
            REQUIRE(i < two.told.size());
            REQUIRE((one.told[i] == two.told[i]));
        }
        for (std::size_t i = 0; i < one.memory.sent.size() && one.memory.sent[i].at < seam; ++i) {
            REQUIRE(i < two.memory.sent.size());
            REQUIRE(one.memory.sent[i].at == two.memory.sent[i].at);
            REQUIRE((one.memory.sent[i].message == two.memory.sent[i].message));
        }
    }
    CHECK(decisions > 5'000);
}

TEST_CASE("a shift of the whole performance in time shifts what is sent and changes nothing")
{
    const auto playing = random_playing(11, 200);
    Memory here;
    Memory there;
    Player a{random_config(11)};
    Player b{random_config(11)};
    const Duration shift{123'456'789'123};
    for (const Input& input : playing) {
        advance(a, input.at, here);
        a.on(input, here);
        Input moved = input;
        moved.at = input.at + shift;
        advance(b, moved.at, there);
        b.on(moved, there);
    }
    REQUIRE(here.sent.size() == there.sent.size());
    for (std::size_t i = 0; i < here.sent.size(); ++i) {
        CHECK(here.sent[i].at + shift == there.sent[i].at);
        CHECK((here.sent[i].message == there.sent[i].message));
    }
}

TEST_CASE("nothing that comes later changes what was sent before")
{
    for (std::uint64_t seed = 1; seed <= 200; ++seed) {
        const auto playing = random_playing(seed, 120);
        Memory whole;
        Memory cut;
        Player a{random_config(seed)};
        Player b{random_config(seed)};
        const std::size_t known = playing.size() / 2;
        for (std::size_t i = 0; i < playing.size(); ++i) {
            advance(a, playing[i].at, whole);
            a.on(playing[i], whole);
            if (i >= known) continue;
            advance(b, playing[i].at, cut);
            b.on(playing[i], cut);
        }
        const Time end = playing[known].at;
        advance(b, end, cut);
        for (std::size_t i = 0; i < cut.sent.size(); ++i) {
            REQUIRE(i < whole.sent.size());
            REQUIRE(cut.sent[i].at == whole.sent[i].at);
            REQUIRE((cut.sent[i].message == whole.sent[i].message));
        }
    }
}
