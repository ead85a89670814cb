// Laws that hold whatever is played.
#include "player/random_playing.hpp"

#include <doctest/doctest.h>
#include <map>
#include <string>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr int keyswitches = 17; // keys 0..16 of the test target select techniques

// Follows what a sampler would hear and what the player says, and complains in words.
class Checker final : public Sink
{
public:
    void bundle(Time at, std::span<const Message> messages) noexcept override
    {
        if (messages.empty() || messages.size() > bundle_limit) complain("a bundle of no or too many messages");
        in_order(at);
        for (const Message& m : messages) hear(m);
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
    std::string complaint;

private:
    static int keyswitch_of(Technique t) { return static_cast<int>(t); }
    static int up_keyswitch_of(Technique t) { return t == Technique::detache ? 16 : static_cast<int>(t); }
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
    Time last_{};
    int latched_{-1};
    bool first_{true};
    double place_{0};
    std::uint32_t stroke_{no_number};
    Direction direction_{Direction::down};
};

void check_seed(std::uint64_t seed, int events)
{
    Player player{random_config(seed)};
    Checker checker;
    Dice looks(seed + 1);
    Snapshot snapshot;
    Time last{};
    for (const Input& input : random_playing(seed, events)) {
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
    CAPTURE(seed);
    CHECK(checker.complaint == "");
}

} // namespace

TEST_CASE("whatever is played: notes balance, the bow stays on its hair and moves continuously, a switch precedes its note")
{
    for (std::uint64_t seed = 1; seed <= 100'000; ++seed) check_seed(seed, 14);
    for (std::uint64_t seed = 1; seed <= 400; ++seed) check_seed(seed + 7'000'000, 600);
}

TEST_CASE("when a wake-up comes has no influence on what is sent")
{
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        const auto playing = random_playing(seed, 60);
        Memory prompt;
        Memory late;
        Player a{random_config(seed)};
        Player b{random_config(seed)};
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
