#include "studio/target_file.hpp"

#include "studio/controller_names.hpp"
#include "studio/key_names.hpp"
#include "studio/key_rows.hpp"
#include "studio/nearest_word.hpp"
#include "studio/speaking_section.hpp"
#include "studio/text_array.hpp"
#include "take/words.hpp"

#include <string>

namespace bowarm
{
namespace
{

constexpr KeyRow<TargetSpec> top_rows[] = {
    {whole("version", 1, 1, Needed{}, "the version of this file's form, 1")},
    {text("name", 47, Needed{}, "the target's name"), [](TargetSpec& t, const Given& g) { put_text(g.text, t.name); }},
    {whole("channel", 1, 16, 1.0, "the MIDI channel of notes and curves"),
     [](TargetSpec& t, const Given& g) { t.channel = *Channel::from(g.whole - 1); }},
    {word("slur", "new before old ends|old ends before new", "new before old ends", "how a slurred note meets the one before"),
     [](TargetSpec& t, const Given& g) { t.slur = static_cast<SlurOrder>(g.word); }},
    {word("held_change", "dip|new note|switch only", "dip", "what a bow change inside a held note is"),
     [](TargetSpec& t, const Given& g) { t.held_change = static_cast<HeldChange>(g.word); }},
    {whole("held_change_velocity", 1, 127, 40.0, "velocity of that new note"),
     [](TargetSpec& t, const Given& g) { t.held_change_velocity = Midi7::nearest(g.whole); }},
    {flag("section", false, "several players on one part"), [](TargetSpec& t, const Given& g) { t.section = g.flag; }},
    {whole("rate_high", 1, 1000, 100.0, "most values a second of each curve"),
     [](TargetSpec& t, const Given& g) { t.rate_high = g.whole; }},
    {section("instrument_programs", Absent{}, "which program an instrument is, counted from 1")},
    {section("technique", Needed{}, "how each technique is selected")},
    {section("curve", Absent{}, "which controllers move")},
};

// A switch as it stands in the file; which of the four it is shows when all keys are read.
struct SwitchText {
    std::optional<int> keyswitch, controller, channel, value, bank;
    bool held{false};
    int velocity{100};
};

constexpr KeyRow<SwitchText> switch_rows[] = {
    {key("keyswitch", Absent{}, "the key that selects"), [](SwitchText& s, const Given& g) { s.keyswitch = g.whole; }},
    {flag("held", false, "the keyswitch is held as long as the note"), [](SwitchText& s, const Given& g) { s.held = g.flag; }},
    {whole("velocity", 1, 127, 100.0, "velocity of the keyswitch"), [](SwitchText& s, const Given& g) { s.velocity = g.whole; }},
    {section("program", Absent{}, "the program, counted from 1, or \"instrument\"")},
    {whole("bank", 0, 16383, Absent{}, "bank of the program: 128 times controller 0 plus controller 32"),
     [](SwitchText& s, const Given& g) { s.bank = g.whole; }},
    {whole("controller", 0, 119, Absent{}, "the controller that selects"), [](SwitchText& s, const Given& g) { s.controller = g.whole; }},
    {whole("value", 0, 127, Absent{}, "value of that controller"), [](SwitchText& s, const Given& g) { s.value = g.whole; }},
    {whole("channel", 1, 16, Absent{}, "the channel that sounds so"), [](SwitchText& s, const Given& g) { s.channel = g.whole; }},
};

constexpr KeyRow<TechniqueWay> technique_rows[] = {
    {section("switch", Absent{}, "how it is selected, whichever way the bow goes")},
    {section("down", Absent{}, "how its down-bow is selected")},
    {section("up", Absent{}, "how its up-bow is selected")},
    {flag("sustains", true, "it sounds as long as the key is held"), [](TechniqueWay& w, const Given& g) { w.sustains = g.flag; }},
    {number("sounds_for_s", 0.01, 30, Absent{}, "length of the short sound, where sustains is false"),
     [](TechniqueWay& w, const Given& g) { w.sounds_for = Seconds{g.number}; }},
    {word("repair", "none|sound again|controller fade", "none", "what can be done when it was the wrong choice"),
     [](TechniqueWay& w, const Given& g) { w.repair = static_cast<Repair>(g.word); }},
    {word("note_velocity", "as played|loudness|attack", "as played", "what the velocity of its notes means"),
     [](TechniqueWay& w, const Given& g) { w.velocity = static_cast<VelocityMeaning>(g.word); }},
    speaks_after_row,
    connected_speaks_after_row,
    softest_speaks_later_row,
    octave_speaks_later_row,
    {text("fallback", 30, Absent{}, "the technique that is played instead"),
     [](TechniqueWay& w, const Given& g) -> std::optional<Complaint> {
         w.fallback = technique_of_word(g.text);
         if (w.fallback) return std::nullopt;
         return Complaint{"no technique '" + shown(g.text) + "'", suggestion(g.text, technique_names())};
     }},
};

constexpr std::string_view quantity_words = "loudness|speed|force|contact point|direction|hair";

constexpr KeyRow<CurveWay> curve_rows[] = {
    {word("quantity", quantity_words, Needed{}, "what moves it"),
     [](CurveWay& c, const Given& g) { c.quantity = static_cast<BowQuantity>(g.word); }},
    {text("sends", 30, Needed{}, "\"cc 11\", \"cc 1 fine\", \"channel pressure\" or \"pitch bend\""),
     [](CurveWay& c, const Given& g) -> std::optional<Complaint> {
         if (const auto controller = controller_of(g.text, c.controller.channel)) {
             c.controller = *controller;
             return std::nullopt;
         }
         return Complaint{"no controller that can carry a curve",
                          "write \"cc 11\", \"cc 1 fine\" (14 bits, below 32), \"channel pressure\" or \"pitch bend\"; bank, parameter and "
                          "mode numbers are taken"};
     }},
    {number("from", 0, 30, 0.0, "the quantity's value at low"), [](CurveWay& c, const Given& g) { c.from = g.number; }},
    {number("to", 0, 30, 1.0, "the quantity's value at high"), [](CurveWay& c, const Given& g) { c.to = g.number; }},
    {whole("low", 0, 16383, 0.0, "what is sent at from"), [](CurveWay& c, const Given& g) { c.low = g.whole; }},
    {whole("high", 0, 16383, Absent{}, "what is sent at to"), [](CurveWay& c, const Given& g) { c.high = g.whole; }},
    {number("exponent", 0.1, 10, 1.0, "bends the way between"), [](CurveWay& c, const Given& g) { c.exponent = g.number; }},
    {whole("dead_band", 0, 1000, 0.0, "smallest change that is sent"), [](CurveWay& c, const Given& g) { c.dead_band = g.whole; }},
    {whole("initial", 0, 16383, Absent{}, "sent before anything has sounded"), [](CurveWay& c, const Given& g) { c.initial = g.whole; }},
    {section("with", Absent{}, "quantities that colour it")},
};

constexpr KeyRow<Mixed> mixed_rows[] = {
    {word("quantity", quantity_words, Needed{}, "what colours the curve"),
     [](Mixed& m, const Given& g) { m.quantity = static_cast<BowQuantity>(g.word); }},
    {number("depth", 0, 1, Needed{}, "0 not at all, 1 wholly"), [](Mixed& m, const Given& g) { m.depth = g.number; }},
};

class TargetReader
{
public:
    TargetReader(const TomlFile& file, const Instrument* instrument, std::vector<Problem>& problems)
        : findings_(file, problems), before_(problems.size()), top_(findings_, file.root, ""), instrument_(instrument)
    {
    }

    TargetSpec read()
    {
        read_rows(top_, top_rows, spec_);
        check_programs();
        if (const auto techniques = top_.table("technique")) read_techniques(*techniques);
        for (const Section& section : top_.tables("curve", spec_.curves.capacity())) read_curve(section);
        if (findings_.problems().size() == before_) check_fades(); // a curve that was refused is not missing
        return spec_;
    }

private:
    void check_programs() const
    {
        const auto programs = top_.table("instrument_programs");
        if (!programs) return;
        for (const auto& [name, value] : programs->value().entries) {
            if (value.kind != TomlKind::whole || !(value.whole >= 1 && value.whole <= 128))
                programs->complain(name, "must be a whole number from 1 to 128", "programs are counted from 1 here");
        }
    }

    std::optional<int> program_of(const Section& section) const
    {
        const TomlValue& value = *section.value().find("program");
        if (value.kind == TomlKind::whole && value.whole >= 1 && value.whole <= 128) return static_cast<int>(value.whole) - 1;
        if (value.kind != TomlKind::text || value.text != "instrument") {
            section.complain("program", "must be a whole number from 1 to 128, or \"instrument\"", "programs are counted from 1 here");
            return std::nullopt;
        }
        if (!instrument_) return std::nullopt;
        const std::string name{text_of(instrument_->name)};
        const auto programs = top_.table("instrument_programs");
        const TomlValue* own = programs ? programs->value().find(name) : nullptr;
        if (!own) {
            section.complain("program", "no program is given for the " + name, "add " + name + " = NUMBER to [instrument_programs]");
            return std::nullopt;
        }
        if (own->kind != TomlKind::whole || !(own->whole >= 1 && own->whole <= 128)) return std::nullopt; // noted already
        return static_cast<int>(own->whole) - 1;
    }

    std::optional<Switch> read_switch(const Section& section)
    {
        SwitchText text;
        const std::size_t before = findings_.problems().size();
        read_rows(section, switch_rows, text);
        if (findings_.problems().size() != before) return std::nullopt;
        const bool program = section.has("program");
        if (int{text.keyswitch.has_value()} + int{program} + int{text.controller.has_value()} + int{text.channel.has_value()} != 1) {
            section.complain("must name one of keyswitch, program, controller, channel", "a switch is one message");
            return std::nullopt;
        }
        refuse_strays(section, text, program);
        Switch out;
        if (text.keyswitch) {
            out.kind = text.held ? SwitchKind::keyswitch_held : SwitchKind::keyswitch_latching;
            out.number = Midi7::nearest(*text.keyswitch);
            out.value = Midi7::nearest(text.velocity);
            refuse_playable(section, out.number);
        } else if (program) {
            const auto number = program_of(section);
            if (!number) return std::nullopt;
            out.kind = SwitchKind::program;
            out.number = Midi7::nearest(*number);
            if (text.bank) out.bank = Midi14::nearest(*text.bank);
        } else if (text.controller) {
            if (is_reserved_controller(*text.controller))
                section.complain("controller", "has another meaning in MIDI 1.0", "bank and parameter numbers cannot select");
            if (!text.value) section.complain("value", "missing", "say which value selects, 0 to 127");
            out.kind = SwitchKind::controller;
            out.number = Midi7::nearest(*text.controller);
            out.value = Midi7::nearest(text.value.value_or(0));
        } else {
            out.kind = SwitchKind::channel;
            out.channel = *Channel::from(*text.channel - 1);
        }
        return out;
    }

    // A key that belongs to another kind of switch would be read and do nothing.
    static void refuse_strays(const Section& section, const SwitchText& text, bool program)
    {
        if (!text.keyswitch && section.has("held")) section.complain("held", "belongs to a keyswitch", "take it out");
        if (!text.keyswitch && section.has("velocity")) section.complain("velocity", "belongs to a keyswitch", "take it out");
        if (!program && text.bank) section.complain("bank", "belongs to a program", "take it out");
        if (!text.controller && text.value) section.complain("value", "belongs to a controller", "take it out");
    }

    void refuse_playable(const Section& section, Midi7 key) const
    {
        if (!instrument_ || key < instrument_->lowest_key || key > instrument_->highest_key) return;
        section.complain("keyswitch",
                         key_word(key.get()) + " is a note of the " + std::string{text_of(instrument_->name)} + " (" +
                             key_word(instrument_->lowest_key.get()) + " to " + key_word(instrument_->highest_key.get()) + ")",
                         "take a key outside its range");
    }

    void read_techniques(const Section& all)
    {
        for (const auto& [word, value] : all.value().entries) {
            const auto technique = technique_of_word(word);
            if (!technique) {
                all.complain(word, "no such technique", suggestion(word, technique_names()));
                continue;
            }
            if (const auto section = all.table(word)) spec_.techniques[static_cast<std::size_t>(*technique)] = read_technique(*section);
        }
        for (int i = 0; i < technique_count; ++i) check_chain(all, static_cast<Technique>(i));
    }

    TechniqueWay read_technique(const Section& section)
    {
        TechniqueWay way;
        read_rows(section, technique_rows, way);
        finish_speaking(section, way);
        const bool any = section.has("switch") || section.has("down") || section.has("up");
        if (section.has("fallback")) {
            if (any || section.has("sustains") || section.has("sounds_for_s") || section.has("repair") || section.has("note_velocity") ||
                says_when_it_speaks(section))
                section.complain("fallback", "stands beside a way of its own",
                                 "keep one: a way to play it, or the technique played instead");
            return way;
        }
        way.present = true;
        if (!way.sustains && !section.has("sounds_for_s"))
            section.complain("sounds_for_s", "missing", "a technique that does not sustain needs the length of its sound");
        if (way.sustains && section.has("sounds_for_s"))
            section.complain("sounds_for_s", "stands beside sustains = true", "add sustains = false, or take it out");
        if (section.has("switch") && (section.has("down") || section.has("up")))
            section.complain("switch", "stands beside down or up", "give switch alone, or down and up");
        if (section.has("down") != section.has("up")) section.complain("has one of down and up", "give both, or switch for either");
        const auto put = [&](std::string_view key, Switch& into) {
            const auto found = section.table(key);
            if (!found) return;
            if (const auto read = read_switch(*found)) into = *read;
        };
        if (section.has("switch")) {
            put("switch", way.down);
            way.up = way.down;
        } else {
            put("down", way.down);
            put("up", way.up);
        }
        return way;
    }

    // From every technique a chain of fallbacks must end in a way to play.
    void check_chain(const Section& all, Technique technique) const
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

    void read_curve(const Section& section)
    {
        CurveWay curve;
        curve.controller.channel = spec_.channel;
        const std::size_t before = findings_.problems().size();
        read_rows(section, curve_rows, curve);
        for (const Section& mix : section.tables("with", curve.mixed.capacity())) {
            Mixed mixed;
            read_rows(mix, mixed_rows, mixed);
            if (mixed.quantity == curve.quantity) mix.complain("quantity", "the curve's own quantity", "colour it with another one");
            curve.mixed.push_back(mixed);
        }
        if (findings_.problems().size() != before) return;
        check_curve(section, curve);
        spec_.curves.push_back(curve);
    }

    void check_curve(const Section& section, CurveWay& curve)
    {
        const int highest = curve.controller.highest();
        if (!section.has("high")) curve.high = highest;
        const std::string remedy = "this controller carries 0 to " + std::to_string(highest);
        if (curve.low > highest) section.complain("low", "too large", remedy);
        if (curve.high > highest) section.complain("high", "too large", remedy);
        if (curve.initial > highest) section.complain("initial", "too large", remedy);
        if (!(curve.to > curve.from))
            section.complain(section.has("to") ? "to" : "from", "to must be above from", "exchange low and high to turn a curve round");
        for (const CurveWay& other : spec_.curves) {
            if (overlap(curve.controller, other.controller)) {
                section.complain("sends", "another curve has this controller", "mix the two: with = [{quantity = ..., depth = ...}]");
                break;
            }
        }
        for (const TechniqueWay& way : spec_.techniques) {
            if (selects_with(way.down, curve.controller) || selects_with(way.up, curve.controller)) {
                section.complain("sends", "this controller selects a technique", "take another one for the curve");
                break;
            }
        }
    }

    static bool takes_number(const Controller& c, int number)
    {
        if (c.kind == ControllerKind::control_change) return c.number.get() == number;
        if (c.kind == ControllerKind::control_change_14) return c.number.get() == number || c.number.get() + 32 == number;
        return false;
    }
    static bool overlap(const Controller& a, const Controller& b)
    {
        const bool a_numbered = a.kind == ControllerKind::control_change || a.kind == ControllerKind::control_change_14;
        if (!a_numbered) return a.kind == b.kind;
        return takes_number(b, a.number.get()) || (a.kind == ControllerKind::control_change_14 && takes_number(b, a.number.get() + 32));
    }
    static bool selects_with(const Switch& s, const Controller& c)
    {
        return s.kind == SwitchKind::controller && takes_number(c, s.number.get());
    }

    void check_fades() const
    {
        const auto techniques = top_.table("technique");
        if (!techniques) return;
        for (const CurveWay& curve : spec_.curves)
            if (curve.quantity == BowQuantity::loudness && curve.low != curve.high) return;
        for (int i = 0; i < technique_count; ++i) {
            const auto word = technique_word(static_cast<Technique>(i));
            if (spec_.techniques[static_cast<std::size_t>(i)].repair != Repair::controller_fade) continue;
            if (const auto section = techniques->table(word))
                section->complain("repair", "nothing to fade with", "add a [[curve]] of quantity \"loudness\"");
        }
    }

    Findings findings_;
    std::size_t before_; // problems of other files
    Section top_;
    const Instrument* instrument_;
    TargetSpec spec_;
};

} // namespace

std::optional<TargetSpec> target_of(const TomlFile& file, const Instrument* instrument, std::vector<Problem>& problems)
{
    const std::size_t before = problems.size();
    const TargetSpec spec = TargetReader{file, instrument, problems}.read();
    if (problems.size() != before) return std::nullopt;
    return spec;
}

} // namespace bowarm
