#include "player/fixture.hpp"

#include <cstring>

namespace bowarm::test
{

Instrument violin()
{
    Instrument i;
    std::strcpy(i.name.data(), "violin");
    const int open[] = {55, 62, 69, 76};
    const double z[] = {0.36, 0.22, 0.18, 0.18};
    for (int s = 0; s < 4; ++s) i.strings.push_back({Midi7::nearest(open[s]), KilogramsPerSecond{z[s]}});
    i.lowest_key = Midi7::nearest(55);
    i.highest_key = Midi7::nearest(100);
    i.string_length = Metres{0.328};
    i.hand_span = Metres{0.098};
    i.hand_frame = Metres{0.075};
    i.widest_stretch = 9;
    i.hair = Metres{0.60};
    i.bow_mass = Kilograms{0.06};
    i.balance_from_frog = Metres{0.19};
    i.bridge_resistance = KilogramsPerSecond{100};
    i.speed_low = MetresPerSecond{0.04};
    i.speed_high = MetresPerSecond{3};
    i.force_low = Newtons{0.1};
    i.force_high_at_frog = Newtons{3};
    i.force_high_at_tip = Newtons{2};
    i.beta_low = Beta{1 / 30.0};
    i.beta_high = Beta{0.16};
    i.dynamics.push_back({Loudness{0.10}, MetresPerSecond{0.09}, Newtons{0.14}, Beta{1 / 6.5}});
    i.dynamics.push_back({Loudness{0.40}, MetresPerSecond{0.20}, Newtons{0.40}, Beta{1 / 9.0}});
    i.dynamics.push_back({Loudness{0.60}, MetresPerSecond{0.25}, Newtons{0.62}, Beta{1 / 10.0}});
    i.dynamics.push_back({Loudness{0.95}, MetresPerSecond{0.45}, Newtons{1.5}, Beta{1 / 14.0}});
    i.spiccato = {Hertz{2.5}, Hertz{7.5}};
    i.sautille = {Hertz{7}, Hertz{13}};
    i.tremolo_rate = Hertz{12};
    i.retake_short = Seconds{0.15};
    i.retake_whole = Seconds{0.30};
    i.spiccato_loudest = Loudness{0.7};
    return i;
}

TargetSpec everything_target()
{
    TargetSpec t;
    std::strcpy(t.name.data(), "everything");
    for (std::size_t i = 0; i < technique_count; ++i) {
        TechniqueWay& way = t.techniques[i];
        way.present = true;
        way.down.steps.push_back({SwitchKind::keyswitch_latching, Midi7::nearest(static_cast<int>(i)), Midi7::nearest(100), {}});
        way.up = way.down;
    }
    t.techniques[static_cast<std::size_t>(Technique::detache)].up.steps[0].number = Midi7::nearest(technique_count);
    for (const Technique s : {Technique::staccato, Technique::spiccato}) {
        TechniqueWay& way = t.techniques[static_cast<std::size_t>(s)];
        way.sustains = false;
        way.sounds_for = Seconds{0.3};
        way.repair = Repair::sound_again;
    }
    const auto curve = [&](BowQuantity q, int number, double from, double to) {
        CurveWay c;
        c.quantity = q;
        c.controller.number = Midi7::nearest(number);
        c.from = from;
        c.to = to;
        t.curves.push_back(c);
    };
    curve(BowQuantity::loudness, 20, 0, 1);
    curve(BowQuantity::speed, 21, 0, 1);
    curve(BowQuantity::force, 22, 0, 3);
    curve(BowQuantity::contact_point, 23, 0.2, 0.03);
    curve(BowQuantity::direction, 24, 0, 1);
    t.curves[0].mixed.push_back({BowQuantity::speed, 0.3});
    t.held_change_velocity = Midi7::nearest(40);
    return t;
}

PlayerConfig violin_config()
{
    PlayerConfig c;
    c.instrument = violin();
    c.target = everything_target();
    c.controls.loudness = {PersonController::control_change, Midi7::nearest(11)};
    c.controls.contact_point = {PersonController::control_change, Midi7::nearest(74)};
    const Technique techniques[] = {Technique::detache, Technique::legato,  Technique::staccato, Technique::spiccato,
                                    Technique::marcato, Technique::tremolo, Technique::pizzicato};
    for (std::size_t i = 0; i < std::size(techniques); ++i) c.controls.keys[12 + i] = {ActionKind::select_technique, techniques[i]};
    c.controls.keys[19] = {ActionKind::read_technique, {}};
    c.controls.keys[20] = {ActionKind::bypass, {}};
    c.controls.keys[21] = {ActionKind::panic, {}};
    c.controls.keys[22] = {ActionKind::next_down, {}};
    c.controls.keys[23] = {ActionKind::next_up, {}};
    c.controls.keys[24] = {ActionKind::next_retake, {}};
    return c;
}

} // namespace bowarm::test
