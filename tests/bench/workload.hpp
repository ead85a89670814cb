// The workloads that benchmarks and instruction counts share.
//   song           half-second notes with a moving loudness, read from the playing
//   random         the random playing of the property tests
//   random-few     its first quarter, for what looks at every event by itself
//   two-voices     a hand that holds notes while another voice moves
//   chords         four keys at once, twice a second
//   delay          the song, half a second late
//   desks          the chords, shared by four desks
//   a technique    a minute of notes in it, at a tempo it is played at
#pragma once

#include "player/random_playing.hpp"

#include <optional>
#include <string>
#include <string_view>

namespace bowarm::test
{

struct Workload {
    PlayerConfig config;
    std::vector<Input> inputs;
    std::optional<Technique> technique; // asked for
};

std::vector<std::string> workload_names();
std::optional<Workload> workload(std::string_view name);

// What a player gives while it plays a workload.
class Counting final : public Sink
{
public:
    explicit Counting(std::optional<Technique> asked = {}) : asked_(asked) {}
    void bundle(Time, std::span<const Message> m) noexcept override { messages += m.size(); }
    void curve(Time, Controller, int) noexcept override { ++values; }
    void fact(const Fact& fact) noexcept override
    {
        if (fact.kind != FactKind::note_began) return;
        ++notes;
        if (fact.technique == asked_) ++as_asked;
    }
    std::size_t messages{0}, values{0}, notes{0}, as_asked{0};

private:
    std::optional<Technique> asked_;
};

// One input, or what is due where there is none, and the question that a driver asks afterwards: when next?
Time one_event(Player& player, const Input* input, Sink& sink) noexcept;

// Every event in the order in which a driver brings them.
template <class Each> void for_each_event(const std::vector<Input>& inputs, Player& player, Sink& sink, Each each)
{
    Time next = player.next_wake();
    for (const Input& input : inputs) {
        while (next <= input.at && next != Time::never()) next = each(player, nullptr, sink);
        next = each(player, &input, sink);
    }
}
// Gives the number of events.
std::size_t play(const std::vector<Input>& inputs, Player& player, Sink& sink);

} // namespace bowarm::test
