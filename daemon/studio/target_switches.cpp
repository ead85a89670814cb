#include "studio/target_switches.hpp"

#include "studio/controller_names.hpp"
#include "studio/key_names.hpp"
#include "studio/text_array.hpp"
#include "take/words.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

constexpr std::size_t parts_at_most = Switch::limit + 1; // the steps and the channel

// A step as it stands in the file; which of the four it is shows when all keys are read.
struct StepText {
    std::optional<int> keyswitch, controller, channel, value, bank;
    bool held{false};
    int velocity{100};
};

constexpr KeyRow<StepText> step_rows[] = {
    {key("keyswitch", Absent{}, "the key that selects"), [](StepText& s, const Given& g) { s.keyswitch = g.whole; }},
    {flag("held", false, "the key stays down until another technique is wanted"), [](StepText& s, const Given& g) { s.held = g.flag; }},
    {whole("velocity", 1, 127, 100.0, "velocity of the keyswitch"), [](StepText& s, const Given& g) { s.velocity = g.whole; }},
    {section("program", Absent{}, "the program, counted from 1, or \"instrument\"")},
    {whole("bank", 0, 16383, Absent{}, "bank of the program: 128 times controller 0 plus controller 32"),
     [](StepText& s, const Given& g) { s.bank = g.whole; }},
    {whole("controller", 0, 119, Absent{}, "the controller that selects"), [](StepText& s, const Given& g) { s.controller = g.whole; }},
    {whole("value", 0, 127, Absent{}, "value of that controller"), [](StepText& s, const Given& g) { s.value = g.whole; }},
    {section("values", Absent{}, "the values that select, lowest and highest; the middle is sent")},
    {whole("channel", 1, 16, Absent{}, "the channel that sounds so"), [](StepText& s, const Given& g) { s.channel = g.whole; }},
};

// A key that belongs to another kind of step would be read and do nothing.
void refuse_strays(const Section& step, const StepText& text)
{
    const bool program = step.has("program");
    if (!text.keyswitch && step.has("held")) step.complain("held", "belongs to a keyswitch", "take it out");
    if (!text.keyswitch && step.has("velocity")) step.complain("velocity", "belongs to a keyswitch", "take it out");
    if (!program && text.bank) step.complain("bank", "belongs to a program", "take it out");
    if (!text.controller && text.value) step.complain("value", "belongs to a controller", "take it out");
    if (!text.controller && step.has("values")) step.complain("values", "belongs to a controller", "take it out");
}

bool is_whole(const TomlValue& value, int low, int high)
{
    return value.kind == TomlKind::whole && value.whole >= low && value.whole <= high;
}

std::optional<SwitchRead::Range> range_of(const Section& step, const StepText& text)
{
    if (step.has("values") && text.value) {
        step.complain("values", "stands beside value", "keep one of them");
        return std::nullopt;
    }
    if (text.value) return SwitchRead::Range{*text.value, *text.value};
    const TomlValue* values = step.value().find("values");
    if (values == nullptr) {
        step.complain("value", "missing", "say which value selects, 0 to 127, or values = [LOWEST, HIGHEST]");
        return std::nullopt;
    }
    const auto& items = values->items;
    if (values->kind != TomlKind::array || items.size() != 2 || !is_whole(items[0], 0, 127) || !is_whole(items[1], 0, 127) ||
        items[0].whole > items[1].whole) {
        step.complain("values", "must be two whole numbers from 0 to 127, the lower first", "write values = [20, 39]");
        return std::nullopt;
    }
    return SwitchRead::Range{static_cast<int>(items[0].whole), static_cast<int>(items[1].whole)};
}

bool is_key(SwitchKind kind) { return kind == SwitchKind::keyswitch_latching || kind == SwitchKind::keyswitch_held; }

bool alike(const SwitchRead& a, std::size_t i, const SwitchRead& b, std::size_t j)
{
    const SwitchStep& one = a.of.steps[i];
    const SwitchStep& other = b.of.steps[j];
    if (is_key(one.kind) != is_key(other.kind) || one.number != other.number) return false;
    if (is_key(one.kind)) return true;
    if (one.kind != other.kind || one.bank != other.bank) return false;
    return one.kind == SwitchKind::program || (a.ranges[i].low <= b.ranges[j].high && b.ranges[j].low <= a.ranges[i].high);
}

} // namespace

bool look_alike(const SwitchRead& a, const SwitchRead& b)
{
    if (a.of.channel != b.of.channel || a.of.steps.size() != b.of.steps.size()) return false;
    for (std::size_t i = 0; i < a.of.steps.size(); ++i) {
        bool found = false;
        for (std::size_t j = 0; j < b.of.steps.size(); ++j) found = found || alike(a, i, b, j);
        if (!found) return false;
    }
    return true;
}

bool share_a_step(const SwitchRead& a, const SwitchRead& b)
{
    for (const SwitchStep& one : a.of.steps)
        for (const SwitchStep& other : b.of.steps)
            if (one.number == other.number && is_key(one.kind) == is_key(other.kind) && (is_key(one.kind) || one.kind == other.kind))
                return true;
    return false;
}

void SwitchReader::check_programs() const
{
    const auto programs = top_.table("instrument_programs");
    if (!programs) return;
    for (const auto& [name, value] : programs->value().entries)
        if (!is_whole(value, 1, 128)) programs->complain(name, "must be a whole number from 1 to 128", "programs are counted from 1 here");
}

std::optional<int> SwitchReader::program_of(const Section& step) const
{
    const TomlValue& value = *step.value().find("program");
    if (is_whole(value, 1, 128)) return static_cast<int>(value.whole) - 1;
    if (value.kind != TomlKind::text || value.text != "instrument") {
        step.complain("program", "must be a whole number from 1 to 128, or \"instrument\"", "programs are counted from 1 here");
        return std::nullopt;
    }
    if (!instrument_) return std::nullopt;
    const std::string name{text_of(instrument_->name)};
    const TomlValue* programs = top_.value().find("instrument_programs");
    const TomlValue* own = programs ? programs->find(name) : nullptr;
    if (!own) {
        step.complain("program", "no program is given for the " + name, "add " + name + " = NUMBER to [instrument_programs]");
        return std::nullopt;
    }
    if (!is_whole(*own, 1, 128)) return std::nullopt; // noted already
    return static_cast<int>(own->whole) - 1;
}

void SwitchReader::refuse_playable(const Section& step, Midi7 key) const
{
    if (!instrument_ || key < instrument_->lowest_key || key > instrument_->highest_key) return;
    step.complain("keyswitch",
                  key_word(key.get()) + " is a note of the " + std::string{text_of(instrument_->name)} + " (" +
                      key_word(instrument_->lowest_key.get()) + " to " + key_word(instrument_->highest_key.get()) + ")",
                  "take a key outside its range");
}

bool SwitchReader::read_step(const Section& step, SwitchRead& into) const
{
    StepText text;
    const std::size_t before = step.findings().problems().size();
    read_rows(step, step_rows, text);
    if (step.findings().problems().size() != before) return false;
    const bool program = step.has("program");
    if (int{text.keyswitch.has_value()} + int{program} + int{text.controller.has_value()} + int{text.channel.has_value()} != 1) {
        step.complain("must name one of keyswitch, program, controller, channel",
                      "for several at once write a list, one in each pair of braces: [{...}, {...}]");
        return false;
    }
    refuse_strays(step, text);
    SwitchStep out;
    SwitchRead::Range range;
    if (text.channel) {
        if (into.of.channel) step.complain("channel", "a second channel in one switch", "take one of them out");
        into.of.channel = *Channel::from(*text.channel - 1);
        return true;
    }
    if (text.keyswitch) {
        out.kind = text.held ? SwitchKind::keyswitch_held : SwitchKind::keyswitch_latching;
        out.number = Midi7::nearest(*text.keyswitch);
        out.value = Midi7::nearest(text.velocity);
        refuse_playable(step, out.number);
    } else if (program) {
        const auto number = program_of(step);
        if (!number) return false;
        out.kind = SwitchKind::program;
        out.number = Midi7::nearest(*number);
        if (text.bank) out.bank = Midi14::nearest(*text.bank);
        for (const SwitchStep& other : into.of.steps)
            if (other.kind == SwitchKind::program) step.complain("program", "a second program in one switch", "take one of them out");
    } else {
        if (is_reserved_controller(*text.controller))
            step.complain("controller", "has another meaning in MIDI 1.0", "bank and parameter numbers cannot select");
        const auto values = range_of(step, text);
        if (!values) return false;
        range = *values;
        out.kind = SwitchKind::controller;
        out.number = Midi7::nearest(*text.controller);
        out.value = Midi7::nearest((range.low + range.high) / 2);
    }
    for (const SwitchStep& other : into.of.steps) {
        if (out.kind == SwitchKind::program || other.number != out.number || is_key(other.kind) != is_key(out.kind)) continue;
        if (other.kind != SwitchKind::program) step.complain("the same key or controller twice in one switch", "take one of them out");
    }
    into.of.steps.push_back(out);
    into.ranges.push_back(range);
    return step.findings().problems().size() == before;
}

std::optional<SwitchRead> SwitchReader::read(const Section& in, std::string_view key) const
{
    const TomlValue* value = in.value().find(key);
    if (value == nullptr) return std::nullopt;
    std::vector<Section> steps;
    if (value->kind == TomlKind::array) {
        steps = in.tables(key, parts_at_most);
        if (steps.empty() && value->items.empty())
            in.complain(key, "an empty list selects nothing", "name a keyswitch, program, controller or channel");
    } else if (const auto step = in.table(key)) {
        steps.push_back(*step);
    }
    if (steps.empty()) return std::nullopt;
    SwitchRead out{{}, {}, steps.front()};
    bool good = true;
    for (const Section& step : steps) {
        if (out.of.steps.full() && !step.has("channel")) {
            step.complain("more than " + std::to_string(Switch::limit) + " messages in one switch", "take the rest out");
            return std::nullopt;
        }
        good = read_step(step, out) && good;
    }
    if (!good) return std::nullopt;
    return out;
}

} // namespace bowarm
