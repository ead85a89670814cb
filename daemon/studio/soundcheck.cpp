#include "studio/soundcheck.hpp"

#include <algorithm>
#include <array>
#include <cstddef>

namespace bowarm
{
namespace
{

constexpr Source keyboard{0};
constexpr Duration before_first = milliseconds(500);
constexpr Duration before_notes = milliseconds(100); // for what is set beforehand
constexpr Duration pause = milliseconds(800);        // longer than any lift, so that the bypass is free to come and go

// One note of a figure: milliseconds from its start, and semitones above its first key.
struct Step {
    int at, length, up;
};
struct Figure {
    std::span<const Step> steps;
    int loudness; // 0..127, and the velocity with it
};

// Detached notes nearly as long as their time.
constexpr std::array<Step, 4> separate{{{0, 500, 0}, {550, 500, 2}, {1100, 500, 4}, {1650, 700, 5}}};
constexpr std::array<Step, 4> parted{{{0, 330, 0}, {550, 330, 2}, {1100, 330, 4}, {1650, 400, 5}}};
constexpr std::array<Step, 5> slurred{{{0, 390, 0}, {350, 390, 2}, {700, 390, 4}, {1050, 390, 2}, {1400, 700, 0}}};
constexpr std::array<Step, 6> short_notes{{{0, 90, 0}, {300, 90, 0}, {600, 90, 2}, {900, 90, 2}, {1200, 90, 4}, {1500, 120, 5}}};
constexpr std::array<Step, 8> quick{
    {{0, 55, 0}, {110, 55, 0}, {220, 55, 2}, {330, 55, 2}, {440, 55, 4}, {550, 55, 4}, {660, 55, 5}, {770, 80, 5}}};
constexpr std::array<Step, 6> dotted{{{0, 330, 0}, {450, 110, 2}, {600, 330, 4}, {1050, 110, 2}, {1200, 330, 0}, {1650, 110, 0}}};
constexpr std::array<Step, 2> held{{{0, 1200, 0}, {1350, 1200, 2}}};
constexpr std::array<Step, 3> thrown{{{0, 400, 0}, {600, 400, 2}, {1200, 400, 4}}};
constexpr std::array<Step, 4> plucked{{{0, 250, 0}, {400, 250, 2}, {800, 250, 4}, {1200, 400, 5}}};

Figure figure_of(Technique technique)
{
    constexpr int middle = 72, soft = 56;
    switch (technique) {
    case Technique::detache:
    case Technique::portato:
    case Technique::col_legno_tratto:
    case Technique::flautando:
        return {separate, middle};
    case Technique::martele:
    case Technique::marcato:
        return {parted, 90};
    case Technique::legato:
        return {slurred, middle};
    case Technique::staccato:
    case Technique::col_legno_battuto:
        return {short_notes, middle};
    case Technique::spiccato:
        return {short_notes, soft};
    case Technique::sautille:
        return {quick, soft};
    case Technique::ricochet:
        return {thrown, soft};
    case Technique::hooked:
        return {dotted, middle};
    case Technique::tremolo:
    case Technique::harmonic:
    case Technique::artificial_harmonic:
        return {held, middle};
    case Technique::pizzicato:
    case Technique::snap_pizzicato:
    case Technique::left_hand_pizzicato:
        return {plucked, middle};
    }
    return {separate, middle};
}

class Writer
{
public:
    explicit Writer(const PlayerConfig& player) : player_(player), channel_(player.controls.channel.value_or(Channel{})), now_{before_first}
    {
    }

    void check(Technique technique)
    {
        for (const bool arm_on : {false, true}) {
            out_.phrases.push_back({now(), technique, played_by_target(technique), arm_on});
            // First, because the arm leaves the sampler in the chosen sound when it steps out.
            command(Command::select_technique, static_cast<std::uint8_t>(technique));
            command(arm_on ? Command::bypass_off : Command::bypass_on, 0);
            phrase(figure_of(technique));
        }
    }

    Soundcheck finish()
    {
        command(Command::read_technique, 0);
        std::stable_sort(out_.script.begin(), out_.script.end(), [](const Input& a, const Input& b) { return a.at < b.at; });
        out_.end = now();
        return std::move(out_);
    }

private:
    Time now() const { return Time{} + now_; }

    Technique played_by_target(Technique technique) const
    {
        for (int i = 0; i < technique_count; ++i) { // no chain is longer
            const TechniqueWay& way = player_.target.techniques[static_cast<std::size_t>(technique)];
            if (way.present || !way.fallback) break;
            technique = *way.fallback;
        }
        return technique;
    }

    void command(Command command, std::uint8_t argument) { out_.script.push_back(command_input(now(), command, argument)); }

    void loudness(int value)
    {
        const PersonControl& control = player_.controls.loudness;
        const Midi7 sent = Midi7::nearest(control.from.get() + (control.to.get() - control.from.get()) * value / 127);
        if (control.kind == PersonController::control_change)
            out_.script.push_back(midi_input(now(), keyboard, control_change(channel_, control.number, sent)));
        if (control.kind == PersonController::channel_pressure)
            out_.script.push_back(midi_input(now(), keyboard, channel_pressure(channel_, sent)));
    }

    // The first phrase of all is the softest, so that nobody is startled.
    void phrase(const Figure& figure)
    {
        const int strength = out_.phrases.size() == 1 ? figure.loudness / 2 : figure.loudness;
        loudness(strength);
        const Time start = now() + before_notes;
        const auto& strings = player_.instrument.strings;
        const int first = strings[strings.size() / 2].open_key.get();
        Time end = start;
        for (const Step& step : figure.steps) {
            const Midi7 key = Midi7::nearest(first + 2 + step.up);
            const Time down = start + milliseconds(step.at), up = down + milliseconds(step.length);
            out_.script.push_back(midi_input(down, keyboard, note_on(channel_, key, Midi7::nearest(strength))));
            out_.script.push_back(midi_input(up, keyboard, note_off(channel_, key)));
            end = std::max(end, up);
        }
        now_ = end - Time{} + pause;
    }

    const PlayerConfig& player_;
    Channel channel_;
    Duration now_;
    Soundcheck out_;
};

} // namespace

Soundcheck soundcheck_of(const PlayerConfig& player, std::span<const Technique> techniques)
{
    Writer writer{player};
    for (const Technique technique : techniques) writer.check(technique);
    return writer.finish();
}

} // namespace bowarm
