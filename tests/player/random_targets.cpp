// Whatever the target's file says and whatever is played, the sampler that hears it has the wanted sound selected at every note,
// and is left silent and in the middle.
#include "player/random_playing.hpp"
#include "player/sampler_model.hpp"

#include <doctest/doctest.h>
#include <map>
#include <memory>
#include <set>
#include <string>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

constexpr Midi7 n(int i) { return Midi7::nearest(i); }

// Makes targets that the loader would take: no key, controller value or program means two things.
class RandomTarget
{
public:
    explicit RandomTarget(std::uint64_t seed) : dice_(seed) {}

    TargetSpec make()
    {
        TargetSpec spec;
        spec.channel = *Channel::from(dice_.below(16));
        spec.slur = dice_.one_in(2) ? SlurOrder::new_before_old_ends : SlurOrder::old_ends_before_new;
        spec.held_change = static_cast<HeldChange>(dice_.below(3));
        spec.held_change_velocity = n(40);
        spec.section = dice_.one_in(4);
        spec.rate_high = 1 + dice_.below(1000);
        spec.pick_up = Seconds{dice_.one_in(2) ? 0 : 0.3};
        style_ = dice_.below(5);
        for (TechniqueWay& way : spec.techniques) way = random_way();
        TechniqueWay& detache = spec.techniques[static_cast<std::size_t>(Technique::detache)];
        if (!detache.present) detache = random_present();
        if (dice_.one_in(2)) add_states(spec);
        add_curves(spec);
        return spec;
    }

private:
    SwitchStep random_step()
    {
        // One kind alone, or all of them mixed.
        const int kind = style_ < 4 ? style_ : dice_.below(4);
        switch (kind) {
        case 0:
            return {SwitchKind::keyswitch_latching, n(key_++), n(1 + dice_.below(127)), {}};
        case 1:
            return {SwitchKind::keyswitch_held, n(key_++), n(1 + dice_.below(127)), {}};
        case 2:
            return {SwitchKind::program, n(program_++), {}, Midi14::nearest(dice_.below(16384))};
        default:
            return {SwitchKind::controller, n(102 + dice_.below(3)), n(value_++), {}};
        }
    }
    Switch random_switch()
    {
        Switch s;
        const int steps = 1 + dice_.below(3);
        for (int i = 0; i < steps; ++i) {
            const SwitchStep step = random_step();
            bool twice = false;
            for (const SwitchStep& other : s.steps)
                twice = twice || (step.kind == SwitchKind::program && other.kind == step.kind) ||
                        (step.kind == SwitchKind::controller && other.kind == step.kind && other.number == step.number);
            if (!twice) s.steps.push_back(step);
        }
        if (dice_.one_in(4)) s.channel = *Channel::from(dice_.below(16));
        return s;
    }
    TechniqueWay random_present()
    {
        TechniqueWay way;
        way.present = true;
        if (dice_.one_in(6)) {
            way.layers_by = dice_.one_in(2) ? LayersBy::velocity : LayersBy::loudness;
            const double highest = way.layers_by == LayersBy::velocity ? 127 : 1;
            for (const double to : {0.4, 1.0}) way.layers.push_back({to * highest, random_switch(), random_switch()});
        } else {
            way.down = way.up = random_switch();
            if (dice_.one_in(4)) way.up = random_switch();
        }
        if (dice_.one_in(3)) {
            way.sustains = false;
            way.sounds_for = Seconds{0.3};
            way.repair = static_cast<Repair>(dice_.below(4));
        }
        way.velocity = static_cast<VelocityMeaning>(dice_.below(4));
        way.velocity_low = n(1 + dice_.below(60));
        way.velocity_high = n(61 + dice_.below(67));
        return way;
    }
    TechniqueWay random_way()
    {
        if (!dice_.one_in(4) && key_ < 38 && value_ < 120 && program_ < 120) return random_present();
        TechniqueWay way;
        way.fallback = Technique::detache;
        return way;
    }
    void add_states(TargetSpec& spec)
    {
        const bool held = dice_.one_in(2);
        for (std::size_t i = 0; i < target_state_count; ++i) {
            Switch s;
            if (dice_.one_in(2))
                s.steps.push_back(
                    {held ? SwitchKind::keyswitch_held : SwitchKind::keyswitch_latching, n(110 + static_cast<int>(i)), n(90), {}});
            else
                s.steps.push_back({SwitchKind::controller, n(i < 2 ? 110 : 111), n(static_cast<int>(i)), {}});
            spec.states[i] = s;
        }
    }
    void add_curves(TargetSpec& spec)
    {
        const int count = dice_.below(7);
        for (int i = 0; i < count; ++i) {
            CurveWay c;
            c.quantity = static_cast<BowQuantity>(dice_.below(6));
            c.controller.number = n(20 + i);
            if (dice_.one_in(3)) c.controller.kind = ControllerKind::control_change_14;
            if (i == 0 && dice_.one_in(2)) c.controller.kind = ControllerKind::pitch_bend;
            if (i == 1 && dice_.one_in(2)) c.controller.kind = ControllerKind::channel_pressure;
            c.low = dice_.below(c.controller.highest() + 1);
            c.high = dice_.below(c.controller.highest() + 1);
            c.to = dice_.one_in(2) ? 1 : 3;
            c.exponent = 0.1 + 0.1 * dice_.below(30);
            c.dead_band = dice_.below(20);
            c.rate_high = dice_.below(300);
            c.smoothing = Seconds{0.01 * dice_.below(5)};
            if (dice_.one_in(2)) c.initial = dice_.below(c.controller.highest() + 1);
            if (dice_.one_in(2)) c.mixed.push_back({static_cast<BowQuantity>(1 + dice_.below(3)), 0.01 * (dice_.below(201) - 100)});
            spec.curves.push_back(c);
        }
    }

    Dice dice_;
    int style_{0};
    int key_{0}, program_{0}, value_{0};
};

class Listener final : public Sink
{
public:
    explicit Listener(const PlayerConfig& config) : spec_(config.target), model(config.target) {}

    void bundle(Time, std::span<const Message> messages) noexcept override
    {
        if (messages.size() >= bundle_limit) complain("a bundle that is full");
        for (const Message& m : messages) hear(m);
    }
    void curve(Time, Controller c, int value) noexcept override
    {
        if (value < 0 || value > c.highest()) complain("a curve value outside its range");
        if (c.kind == ControllerKind::pitch_bend) model.hear(pitch_bend(c.channel, Midi14::nearest(value)));
        ++curves;
    }
    void fact(const Fact& f) noexcept override
    {
        if (f.kind != FactKind::note_began) return;
        // Told again of a note that sounds already, the choice was mended without a new switch.
        const bool anew = told_.insert(f.note).second;
        const TechniqueWay* way = way_of(f.technique);
        if (way == nullptr || !last_on_) {
            complain("a note without a way to play it, or without a message");
            return;
        }
        // What was in force when its key went down; other notes may have begun in the same bundle since.
        const auto then = anew ? begun_.find(f.pitch % 12) : begun_.end();
        const SamplerModel& model = then != begun_.end() ? then->second.first : this->model;
        const Channel on = then != begun_.end() ? then->second.second : *last_on_;
        bool found = false;
        const auto all = SamplerModel::switches_of(*way);
        for (std::size_t i = 0; i < all.size(); ++i) {
            if (anew && !f.plucked && (i % 2 == 1) != (f.direction == Direction::up)) continue;
            if (anew && way->layers_by == LayersBy::velocity && !way->layers.empty() && (i / 2 == 1) != (f.velocity > way->layers[0].to))
                continue;
            found = found || model.technique_in_force(*all[i], on);
        }
        if (!found) complain("a note sounds without the wanted technique in force");
        if (!anew) return;
        if (!model.state_in_force(f.muted ? TargetState::muted : TargetState::unmuted, on)) complain("a note sounds with another mute");
        if (!model.state_in_force(state_of(f.zone), on)) complain("a note sounds with another contact point");
    }
    bool loudness_moved(const Message& m) const
    {
        for (const CurveWay& way : spec_.curves) {
            const bool pressure = way.controller.kind == ControllerKind::channel_pressure;
            if (pressure ? m.kind() == MessageKind::channel_pressure
                         : m.kind() == MessageKind::control_change && m.first() == way.controller.number)
                return true;
        }
        return false;
    }
    void watch_silence() { watching_ = true; }

    std::string complaint;
    int curves{0};

private:
    const TargetSpec& spec_;

public:
    SamplerModel model;

private:
    void hear(const Message& m)
    {
        model.hear(m);
        if (m.is_note_on() && !model.is_key(m.first().get())) {
            last_on_ = m.channel();
            begun_.erase(m.first().get() % 12);
            begun_.emplace(m.first().get() % 12, std::pair{model, m.channel()});
        }
        if (watching_ && loudness_moved(m)) complain("the loudness moved in a silence");
    }
    const TechniqueWay* way_of(Technique t) const
    {
        for (int i = 0; i < technique_count; ++i) {
            const TechniqueWay& way = spec_.techniques[static_cast<std::size_t>(t)];
            if (way.present) return &way;
            if (!way.fallback) return nullptr;
            t = *way.fallback;
        }
        return nullptr;
    }
    static TargetState state_of(ContactZone zone)
    {
        if (zone == ContactZone::sul_tasto) return TargetState::sul_tasto;
        return zone == ContactZone::ordinary ? TargetState::ordinary : TargetState::sul_ponticello;
    }
    void complain(const char* what)
    {
        if (complaint.empty()) complaint = what;
    }
    std::set<std::uint32_t> told_;
    std::map<int, std::pair<SamplerModel, Channel>> begun_; // by pitch class, since a note may be moved by octaves
    std::optional<Channel> last_on_;
    bool watching_{false};
};

PlayerConfig config_of(std::uint64_t seed)
{
    PlayerConfig c = random_config(seed);
    c.target = RandomTarget{seed}.make();
    Dice dice(seed ^ 0x77);
    c.out_of_range = static_cast<OutOfRange>(dice.below(3));
    return c;
}

} // namespace

TEST_CASE("for random targets and random playing the wanted technique is in force at every note")
{
    for (std::uint64_t seed = 1; seed <= 600; ++seed) {
        CAPTURE(seed);
        const PlayerConfig config = config_of(seed);
        Player player(config);
        Listener listener(config);
        for (const Input& input : seed % 2 == 0 ? random_playing(seed, 300) : random_two_voices(seed, 300)) {
            // In bypass the person may press the target's keyswitches.
            if (input.kind == InputKind::command && input.data[0] == static_cast<std::uint8_t>(Command::bypass_on)) continue;
            if (input.kind == InputKind::midi && input.data[1] == 20) continue;
            advance(player, input.at, listener);
            player.on(input, listener);
        }
        CHECK(listener.complaint == "");
        if (!listener.complaint.empty()) break;
    }
}

TEST_CASE("after a panic or a lost target nothing sounds, is held, pressed or bent, and the loudness has not moved")
{
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        CAPTURE(seed);
        PlayerConfig config = config_of(seed);
        config.controls.sustain = SustainMeaning::pass;
        config.delay = config.chord_hold = Seconds{0};               // a loudness that the hand has moved before the panic would come first
        for (CurveWay& way : config.target.curves) way.initial = -1; // sent to a target that is back, and no part of the silence
        Player player(config);
        Listener listener(config);
        Time last;
        for (const Input& input : random_playing(seed, 150)) {
            advance(player, input.at, listener);
            player.on(input, listener);
            last = input.at;
        }
        listener.watch_silence();
        player.on(command_input(last, seed % 2 == 0 ? Command::panic : Command::target_unknown), listener);
        CHECK(listener.model.at_rest());
        CHECK(listener.complaint == "");
        if (!listener.model.at_rest() || !listener.complaint.empty()) break;
    }
}

TEST_CASE("a section's change of bow inside a note is marked and not heard")
{
    const auto lowest = [](bool section) {
        PlayerConfig config = violin_config();
        config.target.section = section;
        config.target.held_change = HeldChange::new_note;
        Player player(config);
        Memory memory;
        Hands hands(player, memory);
        hands.controller(0, 11, 100);
        hands.down(10, 69);
        hands.until(1500);
        const std::size_t from = memory.sent.size();
        hands.until(12'000);
        CHECK(memory.note_ons().size() >= 2); // the keyswitch and the note
        int low = 127;
        int ons = 0;
        for (std::size_t i = from; i < memory.sent.size(); ++i) {
            const Message& m = memory.sent[i].message;
            ons += m.is_note_on();
            if (m.kind() == MessageKind::control_change && m.first() == n(20) && m.second().get() < low) low = m.second().get();
        }
        int marked = 0;
        for (const Fact& f : memory.of(FactKind::warning)) marked += f.warning == Warning::hair_runs_out;
        CHECK(marked >= 1);
        CHECK((section ? ons == 0 : ons > 0));
        return low;
    };
    CHECK(lowest(true) >= 98); // a loudness of 100 stays what it is
    CHECK(lowest(false) < 90);
}

TEST_CASE("each repair does what it is named for when a short note outlives its sound")
{
    const auto play = [](Repair repair) {
        PlayerConfig config = violin_config();
        TechniqueWay& spiccato = config.target.techniques[static_cast<std::size_t>(Technique::spiccato)];
        TechniqueWay& staccato = config.target.techniques[static_cast<std::size_t>(Technique::staccato)];
        for (TechniqueWay* way : {&spiccato, &staccato}) {
            way->repair = repair;
            way->down.steps[0].kind = way->up.steps[0].kind = SwitchKind::keyswitch_held;
        }
        auto memory = std::make_unique<Memory>();
        Player player(config);
        Hands hands(player, *memory);
        for (int i = 0; i < 8; ++i) hands.note(i * 250, 69 + i % 3, 60, 50);
        hands.down(2000, 72, 50);
        hands.until(2010);
        memory->sent.clear();
        hands.until(3500);
        return memory;
    };
    const auto notes_again = [](const Memory& m) {
        int count = 0;
        for (const Message& on : m.note_ons()) count += on.first() == n(72);
        return count;
    };
    const auto let_go = [](const Memory& m) {
        int count = 0;
        for (const Sent& s : m.sent) count += s.message.is_note_off() && s.message.first().get() < 17;
        return count;
    };
    const auto faded = [](const Memory& m) {
        for (const Sent& s : m.sent)
            if (s.message.kind() == MessageKind::control_change && s.message.first() == n(20) && s.message.second() == n(0)) return true;
        return false;
    };
    const auto none = play(Repair::none);
    CHECK(none->of(FactKind::unmended).size() == 1);
    CHECK(notes_again(*none) == 0);
    CHECK(!faded(*none));
    const auto again = play(Repair::sound_again);
    CHECK(again->of(FactKind::repaired).size() == 1);
    CHECK(notes_again(*again) == 1);
    for (const Message& on : again->note_ons())
        if (on.first() == n(72)) CHECK(on.second() < n(50));
    const auto fade = play(Repair::controller_fade);
    CHECK(fade->of(FactKind::repaired).size() == 1);
    CHECK(notes_again(*fade) == 0);
    CHECK(faded(*fade));
    const auto released = play(Repair::release_switch);
    CHECK(released->of(FactKind::repaired).size() == 1);
    CHECK(notes_again(*released) == 0);
    CHECK(let_go(*released) >= 1);
    CHECK(!faded(*released));
}

TEST_CASE("a note that is a keyswitch of the target is not passed on outside the instrument's range")
{
    PlayerConfig config = violin_config();
    config.out_of_range = OutOfRange::pass;
    config.controls.keys = {};
    Player player(config);
    Memory memory;
    Hands hands(player, memory);
    hands.note(0, 3, 100);
    CHECK(memory.note_ons().empty());
    CHECK(memory.of(FactKind::warning).size() == 1);
    hands.note(1000, 40, 100);
    CHECK(memory.note_ons().size() == 2); // a keyswitch and the note
}
