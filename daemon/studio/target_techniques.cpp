#include "studio/target_techniques.hpp"

#include "studio/key_names.hpp"
#include "studio/nearest_word.hpp"
#include "take/words.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

constexpr std::array<std::string_view, target_state_count> state_words{"unmuted", "muted", "sul-tasto", "ordinary", "sul-ponticello"};

std::optional<Complaint> technique_from(const Given& g, std::optional<Technique>& into)
{
    into = technique_of_word(g.text);
    if (into) return std::nullopt;
    return Complaint{"no technique '" + shown(g.text) + "'", suggestion(g.text, technique_names())};
}

struct WayText {
    TechniqueWay way;
    std::optional<Technique> shares;
};

constexpr KeyRow<WayText> technique_rows[] = {
    {section("switch", Absent{}, "how it is selected, whichever way the bow goes")},
    {section("down", Absent{}, "how its down-bow is selected")},
    {section("up", Absent{}, "how its up-bow is selected")},
    {text("same_switch_as", 30, Absent{}, "the technique whose switch it shares"),
     [](WayText& w, const Given& g) { return technique_from(g, w.shares); }},
    {word("layers_by", "loudness|velocity", Absent{}, "what chooses among its layers"),
     [](WayText& w, const Given& g) { w.way.layers_by = static_cast<LayersBy>(g.word); }},
    {section("layer", Absent{}, "sounds of its own for soft and loud")},
    {flag("sustains", true, "it sounds as long as the key is held"), [](WayText& w, const Given& g) { w.way.sustains = g.flag; }},
    {number("sounds_for_s", 0.01, 30, Absent{}, "length of the short sound, where sustains is false"),
     [](WayText& w, const Given& g) { w.way.sounds_for = Seconds{g.number}; }},
    {word("repair", "none|sound again|controller fade|release switch", "none", "what can be done when it was the wrong choice"),
     [](WayText& w, const Given& g) { w.way.repair = static_cast<Repair>(g.word); }},
    {word("note_velocity", "as played|loudness|attack|slur speed", "as played", "what the velocity of its notes means"),
     [](WayText& w, const Given& g) { w.way.velocity = static_cast<VelocityMeaning>(g.word); }},
    {whole("velocity_low", 1, 127, 1.0, "the lowest velocity it is sent with"),
     [](WayText& w, const Given& g) { w.way.velocity_low = Midi7::nearest(g.whole); }},
    {whole("velocity_high", 1, 127, 127.0, "the highest velocity it is sent with"),
     [](WayText& w, const Given& g) { w.way.velocity_high = Midi7::nearest(g.whole); }},
    {number("speaks_after_s", 0, 0.5, 0.0, "how long after a note it is heard"),
     [](WayText& w, const Given& g) { w.way.speaking.first = Seconds{g.number}; }},
    {number("connected_speaks_after_s", 0, 0.5, Absent{}, "the same of a note that is slurred to the one before"),
     [](WayText& w, const Given& g) { w.way.speaking.connected = Seconds{g.number}; }},
    {number("softest_speaks_later_s", 0, 0.5, 0.0, "what velocity 1 adds; 127 adds nothing"),
     [](WayText& w, const Given& g) { w.way.speaking.softest_adds = Seconds{g.number}; }},
    {number("octave_speaks_later_s", 0, 0.5, 0.0, "what a slur over an octave adds"),
     [](WayText& w, const Given& g) { w.way.speaking.octave_adds = Seconds{g.number}; }},
    {text("fallback", 30, Absent{}, "the technique that is played instead"),
     [](WayText& w, const Given& g) { return technique_from(g, w.way.fallback); }},
};

struct LayerText {
    std::optional<double> to;
};
constexpr KeyRow<LayerText> layer_rows[] = {
    {number("to", 0, 127, Absent{}, "the loudness (0 to 1) or velocity (1 to 127) up to which it sounds"),
     [](LayerText& l, const Given& g) { l.to = g.number; }},
    {section("switch", Absent{}, "how it is selected, whichever way the bow goes")},
    {section("down", Absent{}, "how its down-bow is selected")},
    {section("up", Absent{}, "how its up-bow is selected")},
};

struct Nothing {
};
constexpr KeyRow<Nothing> state_rows[] = {
    {section("switch", Needed{}, "how it is selected")},
};

std::string word_of(std::size_t technique) { return std::string{technique_word(static_cast<Technique>(technique))}; }

bool only_held(const Switch& s)
{
    for (const SwitchStep& step : s.steps)
        if (step.kind != SwitchKind::keyswitch_held) return false;
    return true;
}

// Of switches with neither key nor controller, the same one for two techniques is no slip of the finger.
bool may_be_shared(const Switch& s)
{
    for (const SwitchStep& step : s.steps)
        if (step.kind != SwitchKind::program) return false;
    return true;
}

} // namespace

void TechniqueReader::read()
{
    read_states();
    const auto all = top_.table("technique");
    if (!all) return;
    for (const auto& [word, value] : all->value().entries) {
        const auto technique = technique_of_word(word);
        if (!technique) {
            all->complain(word, "no such technique", suggestion(word, technique_names()));
            continue;
        }
        const auto i = static_cast<std::size_t>(*technique);
        if (const auto section = all->table(word)) {
            techniques_[i].section = *section;
            spec_.techniques[i] = read_technique(*section, techniques_[i]);
        }
    }
    share_switches();
    for (std::size_t i = 0; i < count; ++i) check_chain(*all, static_cast<Technique>(i));
    check_ambiguous();
    check_silent();
    check_banks();
    check_states();
    check_release();
}

TechniqueWay TechniqueReader::read_technique(const Section& section, Read& read)
{
    WayText text;
    read_rows(section, technique_rows, text);
    TechniqueWay& way = text.way;
    read.shares = text.shares;
    const bool any = section.has("switch") || section.has("down") || section.has("up") || section.has("layer");
    if (section.has("fallback")) {
        bool more = false;
        for (const KeyRow<WayText>& row : technique_rows) more = more || (row.facts.name != "fallback" && section.has(row.facts.name));
        if (more)
            section.complain("fallback", "stands beside a way of its own", "keep one: a way to play it, or the technique played instead");
        return way;
    }
    way.present = true;
    if (!section.has("connected_speaks_after_s")) way.speaking.connected = way.speaking.first;
    if (!way.sustains && !section.has("sounds_for_s"))
        section.complain("sounds_for_s", "missing", "a technique that does not sustain needs the length of its sound");
    if (way.sustains && section.has("sounds_for_s"))
        section.complain("sounds_for_s", "stands beside sustains = true", "add sustains = false, or take it out");
    if (way.velocity_high < way.velocity_low)
        section.complain(section.has("velocity_low") ? "velocity_low" : "velocity_high", "velocity_low is above velocity_high",
                         "exchange them");
    if (section.has("same_switch_as") && any) section.complain("same_switch_as", "stands beside a switch of its own", "keep one of them");
    if (section.has("layers_by") && !section.has("layer"))
        section.complain("layers_by", "there are no layers", "add layer = [{to = 0.5, switch = ...}, {switch = ...}], or take it out");
    if (section.has("layer")) {
        if (section.has("switch") || section.has("down") || section.has("up"))
            section.complain("layer", "stands beside a switch for all", "give the switches in the layers alone");
        read_layers(section, way, read);
    } else {
        read_ways(section, way.down, way.up, read);
    }
    return way;
}

void TechniqueReader::read_ways(const Section& section, Switch& down, Switch& up, Read& read)
{
    if (section.has("switch") && (section.has("down") || section.has("up")))
        section.complain("switch", "stands beside down or up", "give switch alone, or down and up");
    if (section.has("down") != section.has("up")) section.complain("has one of down and up", "give both, or switch for either");
    const auto put = [&](std::string_view key, Switch& into) {
        if (!section.has(key)) return;
        if (const auto found = switches_.read(section, key)) {
            into = found->of;
            read.switches.push_back(*found);
        } else {
            read.refused = true;
        }
    };
    if (section.has("switch")) {
        put("switch", down);
        up = down;
    } else {
        put("down", down);
        put("up", up);
    }
}

void TechniqueReader::read_layers(const Section& section, TechniqueWay& way, Read& read)
{
    const auto layers = section.tables("layer", way.layers.capacity());
    const double highest = way.layers_by == LayersBy::loudness ? 1 : 127;
    double before = 0;
    for (std::size_t i = 0; i < layers.size(); ++i) {
        LayerText text;
        read_rows(layers[i], layer_rows, text);
        const bool last = i + 1 == layers.size();
        if (!last && !text.to) layers[i].complain("to", "missing", "only the last layer goes without, and takes all above");
        if (last && text.to) layers[i].complain("to", "of the last layer", "take it out: the last layer takes all above");
        if (text.to && !(*text.to > before && *text.to < highest))
            layers[i].complain("to", "not between the layer before and the highest",
                               way.layers_by == LayersBy::loudness
                                   ? "let them rise from above 0 to below 1, or set layers_by = \"velocity\""
                                   : "let them rise from above 0 to below 127");
        before = text.to.value_or(before);
        if (!layers[i].has("switch") && !layers[i].has("down") && !layers[i].has("up"))
            layers[i].complain("a layer without a switch", "say how it is selected");
        Layer layer;
        layer.to = text.to.value_or(highest);
        read_ways(layers[i], layer.down, layer.up, read);
        way.layers.push_back(layer);
    }
    if (layers.size() == 1) section.complain("layer", "one layer is none", "give two at least, or switch alone");
}

void TechniqueReader::read_states()
{
    const auto all = top_.table("state");
    if (!all) return;
    for (const auto& [word, value] : all->value().entries) {
        const auto found = std::find(state_words.begin(), state_words.end(), word);
        if (found == state_words.end()) {
            all->complain(word, "no such state", suggestion(word, state_words));
            continue;
        }
        const auto section = all->table(word);
        if (!section) continue;
        Nothing nothing;
        read_rows(*section, state_rows, nothing);
        const auto read = switches_.read(*section, "switch");
        if (!read) continue;
        bool program = false;
        for (const SwitchStep& step : read->of.steps) program = program || step.kind == SwitchKind::program;
        if (read->of.channel || program || read->of.steps.size() > state_steps_limit)
            section->complain("switch", "a state is one or two keyswitches or controllers", "programs and channels belong to techniques");
        const auto i = static_cast<std::size_t>(found - state_words.begin());
        states_[i] = *read;
        spec_.states[i] = read->of;
    }
}

void TechniqueReader::share_switches()
{
    for (std::size_t i = 0; i < count; ++i) {
        const auto shares = techniques_[i].shares;
        if (!shares || !techniques_[i].section) continue;
        const auto j = static_cast<std::size_t>(*shares);
        const TechniqueWay& source = spec_.techniques[j];
        if (j == i || !source.present || techniques_[j].shares) {
            techniques_[i].section->complain("same_switch_as", word_of(j) + " has no switch of its own",
                                             "name a technique with a switch, or write fallback = \"" + word_of(j) + "\"");
            continue;
        }
        spec_.techniques[i].down = source.down;
        spec_.techniques[i].up = source.up;
        spec_.techniques[i].layers = source.layers;
        spec_.techniques[i].layers_by = source.layers_by;
    }
}

// From every technique a chain of fallbacks must end in a way to play.
void TechniqueReader::check_chain(const Section& all, Technique technique) const
{
    const std::string word{technique_word(technique)};
    if (!all.has(word)) {
        all.complain("no word of " + word, "add [technique." + word + "] with a switch or a fallback");
        return;
    }
    Technique at = technique;
    for (int steps = 0; steps <= technique_count; ++steps) {
        const TechniqueWay& way = spec_.techniques[static_cast<std::size_t>(at)];
        if (way.present || !way.fallback) return; // a missing one has its own problem
        at = *way.fallback;
    }
    all.complain(word, "its fallbacks go round in a circle", "end them in a technique that has a switch");
}

// Two techniques that the sampler could not tell apart.
void TechniqueReader::check_ambiguous() const
{
    for (std::size_t i = 0; i < count; ++i)
        for (const SwitchRead& later : techniques_[i].switches) {
            if (may_be_shared(later.of)) continue;
            for (std::size_t j = 0; j < i; ++j) {
                bool alike = false;
                for (const SwitchRead& earlier : techniques_[j].switches) alike = alike || look_alike(earlier, later);
                if (!alike) continue;
                later.section.complain("selects " + word_of(j) + " as well",
                                       "give each its own, or say same_switch_as = \"" + word_of(j) + "\" when they share a sound");
                break;
            }
        }
}

// A technique that sends nothing would sound with whatever was selected before.
void TechniqueReader::check_silent() const
{
    for (std::size_t i = 0; i < count; ++i) {
        const Read& silent = techniques_[i];
        if (!spec_.techniques[i].present || silent.shares || !silent.switches.empty() || silent.refused) continue;
        for (std::size_t j = 0; j < count; ++j) {
            bool undone = true;
            for (const SwitchRead& other : techniques_[j].switches)
                undone = undone && (only_held(other.of) || other.of.channel.value_or(spec_.channel) != spec_.channel);
            if (undone) continue;
            silent.section->complain("no switch, so it would sound as " + word_of(j) + " after it",
                                     "say how it is selected, or a fallback");
            break;
        }
    }
}

// Bank select holds until the next one: a program without it would be looked for in the last bank.
void TechniqueReader::check_banks() const
{
    bool some = false;
    for (const Read& read : techniques_)
        for (const SwitchRead& s : read.switches)
            for (const SwitchStep& step : s.of.steps) some = some || step.bank;
    if (!some) return;
    for (const Read& read : techniques_)
        for (const SwitchRead& s : read.switches)
            for (const SwitchStep& step : s.of.steps)
                if (step.kind == SwitchKind::program && !step.bank)
                    s.section.complain("a program without a bank among others that have one", "add bank = NUMBER, 0 for the first");
}

void TechniqueReader::check_states() const
{
    const auto at = [&](TargetState s) -> const std::optional<SwitchRead>& { return states_[static_cast<std::size_t>(s)]; };
    const auto needs = [&](TargetState one, TargetState other) {
        if (!at(one) || at(other)) return;
        const std::string missing{state_words[static_cast<std::size_t>(other)]};
        at(one)->section.complain("nothing undoes it", "add [state." + missing + "]");
    };
    needs(TargetState::muted, TargetState::unmuted);
    needs(TargetState::unmuted, TargetState::muted);
    needs(TargetState::sul_tasto, TargetState::ordinary);
    needs(TargetState::sul_ponticello, TargetState::ordinary);
    const auto mute = [](std::size_t state) { return state <= static_cast<std::size_t>(TargetState::muted); };
    for (std::size_t i = 0; i < target_state_count; ++i) {
        if (!states_[i]) continue;
        for (std::size_t j = 0; j < i; ++j) {
            if (!states_[j]) continue;
            const bool clash = mute(i) == mute(j) ? look_alike(*states_[i], *states_[j]) : share_a_step(*states_[i], *states_[j]);
            if (clash) states_[i]->section.complain("selects " + std::string{state_words[j]} + " as well", "give each its own");
        }
        for (std::size_t t = 0; t < count; ++t)
            for (const SwitchRead& s : techniques_[t].switches) {
                if (!share_a_step(*states_[i], s)) continue;
                states_[i]->section.complain("its key or controller belongs to " + word_of(t), "take another one for the state");
                return;
            }
    }
}

void TechniqueReader::check_release() const
{
    for (std::size_t i = 0; i < count; ++i) {
        if (spec_.techniques[i].repair != Repair::release_switch || !techniques_[i].section || techniques_[i].refused) continue;
        bool held = false;
        for (const SwitchStep& step : spec_.techniques[i].down.steps) held = held || step.kind == SwitchKind::keyswitch_held;
        if (!held) techniques_[i].section->complain("repair", "no held keyswitch to let go of", "add held = true to its keyswitch");
    }
}

void TechniqueReader::check_fades() const
{
    for (const CurveWay& curve : spec_.curves)
        if (curve.quantity == BowQuantity::loudness && (!curve.points.empty() || curve.low != curve.high)) return;
    for (std::size_t i = 0; i < count; ++i)
        if (spec_.techniques[i].repair == Repair::controller_fade && techniques_[i].section)
            techniques_[i].section->complain("repair", "nothing to fade with", "add a [[curve]] of quantity \"loudness\"");
}

} // namespace bowarm
