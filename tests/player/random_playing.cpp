#include "player/random_playing.hpp"

namespace bowarm::test
{
namespace
{

Message random_controller(Dice& dice)
{
    constexpr int numbers[] = {11, 11, 11, 11, 74, 1, 64, 20, 21, 7, 120, 121, 123, 0};
    const int number = numbers[dice.below(std::size(numbers))];
    return control_change(Channel{}, Midi7::nearest(number), Midi7::nearest(dice.below(128)));
}

Message random_other(Dice& dice)
{
    switch (dice.below(5)) {
    case 0:
        return pitch_bend(Channel{}, Midi14::nearest(dice.below(16384)));
    case 1:
        return channel_pressure(Channel{}, Midi7::nearest(dice.below(128)));
    case 2:
        return program_change(Channel{}, Midi7::nearest(dice.below(128)));
    case 3: {
        constexpr std::uint8_t statuses[] = {0xF8, 0xF8, 0xF8, 0xF8, 0xFA, 0xFB, 0xFC, 0xF2};
        const std::uint8_t status = statuses[dice.below(std::size(statuses))];
        if (status != 0xF2) return {{status, 0, 0}, 1};
        const auto position = static_cast<std::uint8_t>(dice.below(128));
        return {{status, position, static_cast<std::uint8_t>(dice.below(2))}, 3};
    }
    default:
        break;
    }
    // One throw a statement: compilers differ in the order in which they evaluate arguments.
    const int key = 60 + dice.below(12);
    return channel_message(MessageKind::key_pressure, Channel{}, Midi7::nearest(key), Midi7::nearest(dice.below(128)));
}

Duration random_gap(Dice& dice)
{
    if (dice.one_in(40)) return milliseconds(dice.below(12'000));
    if (dice.one_in(5)) return {0};
    if (dice.one_in(3)) return {static_cast<std::int64_t>(dice.below(30'000'000))};
    return {static_cast<std::int64_t>(dice.below(250'000'000))};
}

} // namespace

std::vector<Input> random_playing(std::uint64_t seed, int events)
{
    Dice dice(seed);
    std::vector<Input> playing;
    std::vector<int> down;
    Time at{};
    const int low = 50 + dice.below(12);
    for (int i = 0; i < events; ++i) {
        at = at + random_gap(dice);
        const Source source{static_cast<std::uint8_t>(dice.one_in(6) ? dice.below(3) : 0)};
        const int what = dice.below(100);
        if (what < 45) {
            const int key = dice.one_in(12) ? 12 + dice.below(13) : (dice.one_in(30) ? dice.below(128) : low + dice.below(36));
            playing.push_back(midi_input(at, source, note_on(Channel{}, Midi7::nearest(key), Midi7::nearest(1 + dice.below(127)))));
            down.push_back(key);
        } else if (what < 80 && !down.empty()) {
            const auto k = static_cast<std::size_t>(dice.below(static_cast<int>(down.size())));
            playing.push_back(midi_input(at, source, note_off(Channel{}, Midi7::nearest(down[k]))));
            down.erase(down.begin() + static_cast<std::ptrdiff_t>(k));
        } else if (what < 92) {
            playing.push_back(midi_input(at, source, random_controller(dice)));
        } else if (what < 95) {
            playing.push_back(midi_input(at, source, random_other(dice)));
        } else if (what < 98) {
            const auto command = static_cast<Command>(dice.below(14));
            playing.push_back(command_input(at, command, static_cast<std::uint8_t>(dice.below(technique_count + 4))));
        } else if (what < 99) {
            const auto beats = static_cast<std::uint8_t>(dice.below(13));
            playing.push_back(dice.one_in(2) ? tempo_input(at, 200'000 + static_cast<std::uint32_t>(dice.below(900'000)))
                                             : meter_input(at, beats, static_cast<std::uint8_t>(dice.below(5))));
        } else {
            playing.push_back({at, source, dice.one_in(2) ? InputKind::port_lost : InputKind::gap, {}});
        }
    }
    return playing;
}

std::vector<Input> random_two_voices(std::uint64_t seed, int events)
{
    Dice dice(seed);
    std::vector<Input> playing;
    std::vector<int> held;
    std::vector<int> moving;
    Time at{};
    const int low = 55 + dice.below(20);
    const auto key_down = [&](int key, std::vector<int>& voice) {
        playing.push_back(midi_input(at, Source{0}, note_on(Channel{}, Midi7::nearest(key), Midi7::nearest(1 + dice.below(127)))));
        voice.push_back(key);
    };
    const auto key_up = [&](std::vector<int>& voice) {
        const auto k = static_cast<std::size_t>(dice.one_in(4) ? dice.below(static_cast<int>(voice.size())) : 0);
        playing.push_back(midi_input(at, Source{0}, note_off(Channel{}, Midi7::nearest(voice[k]))));
        voice.erase(voice.begin() + static_cast<std::ptrdiff_t>(k));
    };
    for (int i = 0; i < events; ++i) {
        // Overlaps, note lengths and long holds; sometimes two keys at once.
        constexpr std::int64_t longest_ms[] = {1, 15, 60, 60, 300, 300, 900};
        at = at + Duration{static_cast<std::int64_t>(dice.next() % static_cast<std::uint64_t>(longest_ms[dice.below(7)] * 1'000'000))};
        const int what = dice.below(100);
        if (what < 8 && held.size() < 3) {
            key_down(low + dice.below(12), held);
        } else if (what < 14 && !held.empty()) {
            key_up(held);
        } else if (what < 52 && moving.size() < 4) {
            const int near = moving.empty() ? low + 7 : moving.back();
            key_down(dice.one_in(3) ? low + dice.below(30) : near - 2 + dice.below(5), moving);
        } else if (what < 94 && !moving.empty()) {
            key_up(moving);
        } else if (what < 98) {
            playing.push_back(midi_input(at, Source{0}, random_controller(dice)));
        } else if (what < 99) {
            const auto technique = static_cast<std::uint8_t>(dice.below(20));
            playing.push_back(command_input(at, dice.one_in(2) ? Command::read_technique : Command::select_technique, technique));
        } else {
            playing.push_back(command_input(at, dice.one_in(3) ? Command::panic : Command::target_unknown));
        }
    }
    return playing;
}

PlayerConfig random_config(std::uint64_t seed)
{
    Dice dice(seed ^ 0xABCDEF);
    PlayerConfig c = violin_config();
    c.target.slur = dice.one_in(2) ? SlurOrder::new_before_old_ends : SlurOrder::old_ends_before_new;
    c.target.held_change = static_cast<HeldChange>(dice.below(3));
    c.controls.sustain = static_cast<SustainMeaning>(dice.below(3));
    c.out_of_range = static_cast<OutOfRange>(dice.below(3));
    for (TechniqueWay& way : c.target.techniques) way.repair = static_cast<Repair>(dice.below(3));
    // The reported technique has to be the one in force, so a note may not be passed down among the keyswitches.
    if (c.out_of_range == OutOfRange::pass) c.out_of_range = OutOfRange::octave;
    // Whatever can be chosen is, by the program changes and controllers of the playing.
    for (Action& program : c.controls.programs) {
        const auto technique = static_cast<Technique>(dice.below(technique_count));
        const auto zone = static_cast<ContactZone>(dice.below(3));
        constexpr ActionKind kinds[] = {ActionKind::select_technique, ActionKind::mute, ActionKind::contact_zone, ActionKind::next_up};
        program = {kinds[dice.below(4)], technique, zone};
    }
    c.controls.controllers.push_back({Midi7::nearest(7), Midi7::nearest(64), Midi7::nearest(127), {ActionKind::down_bows, {}, {}}});
    if (dice.one_in(4)) c.chord_hold = Seconds{0.001 * (1 + dice.below(25))};
    if (dice.one_in(4)) c.delay = Seconds{0.001 * (1 + dice.below(500))};
    if (dice.one_in(3)) c.chord_break = Seconds{0.01 * dice.below(16)};
    c.open_strings = dice.one_in(4);
    c.controls.controllers.push_back({Midi7::nearest(7), Midi7::nearest(64), Midi7::nearest(127), {ActionKind::string, {}, {}, {4, 0}}});
    c.controls.controllers.push_back({Midi7::nearest(21), Midi7::nearest(64), Midi7::nearest(127), {ActionKind::open_strings, {}, {}, {}}});
    if (dice.one_in(2)) return c;
    c.vibrato.controller = Midi7::nearest(1);
    c.vibrato.onset_delay = Seconds{0.1 * dice.below(4)};
    c.vibrato.onset_rise = Seconds{0.1 * dice.below(4)};
    c.vibrato.in_sul_tasto = 0.3;
    return c;
}

} // namespace bowarm::test
