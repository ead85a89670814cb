#include "bench/workload.hpp"

#include "take/words.hpp"

#include <algorithm>
#include <utility>

namespace bowarm::test
{
namespace
{

constexpr std::int64_t minute_ms = 60'000;
constexpr std::int64_t between_pedal_moves_ms = 45;

// Notes a technique is played with: how far apart, how long its keys are held.
struct Pace {
    std::int64_t apart_ms, held_ms;
};

Pace pace_of(Technique technique)
{
    switch (technique) {
    case Technique::legato:
        return {400, 440};
    case Technique::portato:
        return {400, 420};
    case Technique::staccato:
    case Technique::col_legno_battuto:
        return {250, 120};
    case Technique::spiccato:
        return {200, 90};
    case Technique::sautille:
        return {100, 50};
    case Technique::ricochet:
        return {1000, 700};
    case Technique::hooked:
        return {300, 220};
    case Technique::tremolo:
        return {1500, 1350};
    case Technique::pizzicato:
    case Technique::left_hand_pizzicato:
        return {300, 200};
    case Technique::detache:
    case Technique::martele:
    case Technique::marcato:
    case Technique::col_legno_tratto:
    case Technique::snap_pizzicato:
    case Technique::harmonic:
    case Technique::artificial_harmonic:
    case Technique::flautando:
        break;
    }
    return {500, 450};
}

// The octaves of the open strings, where a natural harmonic is wanted; else a scale of semitones.
int key_of(std::optional<Technique> technique, int note)
{
    constexpr int octaves[] = {67, 74, 81, 88};
    if (technique == Technique::harmonic) return octaves[note % 4];
    if (technique == Technique::artificial_harmonic) return 79 + note % 12;
    return 62 + note % 12;
}

// In the order of time: a pedal that moves, and notes.
std::vector<Input> notes_under_a_pedal(std::optional<Technique> technique, Pace pace, std::int64_t length_ms, int together = 1)
{
    std::vector<std::pair<std::int64_t, Message>> moves;
    const auto key = [&](int note, int voice) { return Midi7::nearest(key_of(technique, note) + 7 * voice); };
    for (std::int64_t at = between_pedal_moves_ms; at < length_ms; at += between_pedal_moves_ms) {
        const int value = static_cast<int>(50 + (at / pace.apart_ms + at / 15) % 50);
        moves.emplace_back(at, control_change(Channel{}, Midi7::nearest(11), Midi7::nearest(value)));
    }
    for (int note = 0; note * pace.apart_ms < length_ms; ++note) {
        for (int voice = 0; voice < together; ++voice) {
            moves.emplace_back(note * pace.apart_ms, note_on(Channel{}, key(note, voice), Midi7::nearest(70)));
            moves.emplace_back(note * pace.apart_ms + pace.held_ms, note_off(Channel{}, key(note, voice)));
        }
    }
    std::stable_sort(moves.begin(), moves.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
    std::vector<Input> inputs;
    if (technique) inputs.push_back(command_input(Time{}, Command::select_technique, static_cast<std::uint8_t>(*technique)));
    for (const auto& [at, message] : moves) inputs.push_back(midi_input(at_ms(at), Source{0}, message));
    return inputs;
}

} // namespace

std::vector<std::string> workload_names()
{
    std::vector<std::string> names{"song", "random", "random-few", "two-voices", "chords", "delay", "desks"};
    for (int t = 0; t < technique_count; ++t) names.emplace_back(technique_word(static_cast<Technique>(t)));
    return names;
}

std::optional<Workload> workload(std::string_view name)
{
    constexpr Pace walking{500, 450};
    if (name == "random") return Workload{random_config(1), random_playing(1, 2'000), {}};
    if (name == "random-few") return Workload{random_config(1), random_playing(1, 500), {}};
    if (name == "two-voices") return Workload{random_config(2), random_two_voices(2, 2'000), {}};
    Workload w{violin_config(), {}, {}};
    if (name == "song") {
        w.inputs = notes_under_a_pedal({}, walking, 2 * minute_ms);
    } else if (name == "chords") {
        w.inputs = notes_under_a_pedal({}, walking, minute_ms, 4);
    } else if (name == "delay") {
        w.config.delay = Seconds{0.5};
        w.inputs = notes_under_a_pedal({}, walking, minute_ms);
    } else if (name == "desks") {
        w.config.desks = desks_at_most;
        w.inputs = notes_under_a_pedal({}, walking, minute_ms, 4);
    } else if ((w.technique = technique_of_word(name))) {
        w.inputs = notes_under_a_pedal(w.technique, pace_of(*w.technique), minute_ms);
    } else {
        return std::nullopt;
    }
    return w;
}

// A frame of its own, since instructions are counted between its first and its last.
[[gnu::noinline]] Time one_event(Player& player, const Input* input, Sink& sink) noexcept
{
    if (input != nullptr)
        player.on(*input, sink);
    else
        player.wake(sink);
    return player.next_wake();
}

std::size_t play(const std::vector<Input>& inputs, Player& player, Sink& sink)
{
    std::size_t events = 0;
    for_each_event(inputs, player, sink, [&](Player& p, const Input* input, Sink& s) {
        ++events;
        return one_event(p, input, s);
    });
    return events;
}

} // namespace bowarm::test
