#include "target/target.hpp"

#include "target/fine.hpp"

namespace bowarm
{
namespace
{

// MIDI 1.0 Detailed Specification 4.2.1, channel mode messages.
constexpr Midi7 all_sound_off = Midi7::nearest(120);
constexpr Midi7 all_notes_off = Midi7::nearest(123);
constexpr Midi7 nothing = Midi7::nearest(0);
constexpr Midi14 bend_centre = Midi14::nearest(8192);

const Switch& of_direction(const Switch& down, const Switch& up, Direction d) { return d == Direction::down ? down : up; }

const Switch& switch_of(const TechniqueWay& way, const Wanted& wanted)
{
    if (way.layers.empty()) return of_direction(way.down, way.up, wanted.direction);
    const double by = way.layers_by == LayersBy::loudness ? wanted.loudness.value : wanted.velocity.get();
    std::size_t i = 0;
    while (i + 1 < way.layers.size() && by > way.layers[i].to) ++i;
    return of_direction(way.layers[i].down, way.layers[i].up, wanted.direction);
}

template <class Visit> void for_each_switch(const TechniqueWay& way, Visit visit)
{
    if (!way.present) return;
    if (way.layers.empty()) {
        visit(way.down);
        visit(way.up);
    }
    for (const Layer& layer : way.layers) {
        visit(layer.down);
        visit(layer.up);
    }
}

void add_curves(Bundle& bundle, const CurveValues& values)
{
    for (const CurveValue& v : values)
        for (const Message& m : curve_messages(v.controller, v.value)) bundle.push_back(m);
}

} // namespace

Target::Target(const TargetSpec& spec) : spec_(spec), channel_(spec.channel)
{
    const auto use = [&](Channel channel) {
        for (const Channel known : channels_)
            if (known == channel) return;
        channels_.push_back(channel);
    };
    use(spec.channel);
    for (const TechniqueWay& way : spec.techniques)
        for_each_switch(way, [&](const Switch& s) {
            if (s.channel) use(*s.channel);
        });
}

const Switch* Target::state(TargetState wanted) const noexcept
{
    const auto& found = spec_.states[static_cast<std::size_t>(wanted)];
    return found ? &*found : nullptr;
}

Technique Target::sounds_as(Technique technique) const noexcept
{
    Technique t = technique;
    for (int step = 0; step < technique_count; ++step) {
        const TechniqueWay& way = spec_.techniques[static_cast<std::size_t>(t)];
        if (way.present) return t;
        if (!way.fallback) break;
        t = *way.fallback;
    }
    return technique;
}

Voice Target::voice(Technique technique, const Wanted& wanted) const noexcept
{
    Voice v{technique, nullptr, {}, spec_.channel, false};
    v.selected[1] = state(wanted.muted ? TargetState::muted : TargetState::unmuted);
    if (wanted.zone == ContactZone::sul_tasto) v.selected[2] = state(TargetState::sul_tasto);
    if (wanted.zone == ContactZone::sul_ponticello) v.selected[2] = state(TargetState::sul_ponticello);
    if (v.selected[2] == nullptr) v.selected[2] = state(TargetState::ordinary);

    v.technique = sounds_as(technique);
    const TechniqueWay& way = spec_.techniques[static_cast<std::size_t>(v.technique)];
    v.missing = !way.present;
    if (v.missing) return v;
    v.way = &way;
    v.selected[0] = &switch_of(way, wanted);
    v.channel = v.selected[0]->channel.value_or(spec_.channel);
    return v;
}

bool Target::has_selected(const Voice& voice) const noexcept
{
    bool found = false;
    if (voice.way != nullptr)
        for_each_switch(*voice.way, [&](const Switch& s) {
            found = found || (s.channel.value_or(spec_.channel) == channel_ && selection_.stands_at(channel_, s));
        });
    return found;
}

void Target::add_switch(Bundle& bundle, const Voice& voice) noexcept
{
    channel_ = voice.channel;
    selection_.add(bundle, voice.channel, voice.selected);
    passing_.bring_along(bundle, voice.channel);
}

void Target::add_first_values(Bundle& bundle, Channel channel, const BowState& state, Begins begins) noexcept
{
    if (sends_curves_) add_curves(bundle, curves_.first(spec_, channel, state, begins));
}

void Target::add_initial_values(Bundle& bundle, Channel channel) noexcept
{
    if (sends_curves_) add_curves(bundle, curves_.initial(spec_, channel));
}

void Target::add_note_on(Bundle& bundle, Channel channel, Midi7 key, Midi7 velocity) noexcept
{
    bundle.push_back(note_on(channel, key, velocity));
}

void Target::add_note_off(Bundle& bundle, Channel channel, Midi7 key) noexcept { bundle.push_back(note_off(channel, key)); }

void Target::add_silence(Bundle& bundle, Channel channel, bool sound_off) noexcept
{
    selection_.release(bundle, channel);
    passing_.let_up(bundle, channel);
    if (curves_.has_bent(spec_, channel)) bundle.push_back(pitch_bend(channel, bend_centre));
    bundle.push_back(control_change(channel, all_notes_off, nothing));
    if (sound_off) bundle.push_back(control_change(channel, all_sound_off, nothing));
}

void Target::take_over(const Target& other) noexcept
{
    curves_ = other.curves_;
    selection_ = other.selection_;
    passing_ = other.passing_;
    channel_ = other.channel_;
}

void Target::forget() noexcept
{
    curves_.forget();
    selection_.forget();
    passing_.forget();
}

} // namespace bowarm
