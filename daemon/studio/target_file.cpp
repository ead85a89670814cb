#include "studio/target_file.hpp"

#include "studio/key_rows.hpp"
#include "studio/target_curves.hpp"
#include "studio/target_techniques.hpp"
#include "studio/text_array.hpp"

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
    {number("lead_s", 0, 1, 0.0, "how long before its note a switch is wanted, where the note is known beforehand"),
     [](TargetSpec& t, const Given& g) { t.switch_lead = Seconds{g.number}; }},
    {number("pick_up_s", 0, 2, 0.0, "how long the loudness eases to the person's controller when that is first moved"),
     [](TargetSpec& t, const Given& g) { t.pick_up = Seconds{g.number}; }},
    {section("instrument_programs", Absent{}, "which program an instrument is, counted from 1")},
    {section("technique", Needed{}, "how each technique is selected")},
    {section("state", Absent{}, "how mute and contact point are selected")},
    {section("curve", Absent{}, "which controllers move")},
    {section("pass", Absent{}, "what of the person's controllers is passed on")},
};

} // namespace

std::optional<TargetSpec> target_of(const TomlFile& file, const Instrument* instrument, std::vector<Problem>& problems)
{
    const std::size_t before = problems.size();
    Findings findings{file, problems};
    const Section top{findings, file.root, ""};
    TargetSpec spec;
    read_rows(top, top_rows, spec);
    TechniqueReader techniques{top, instrument, spec};
    techniques.read();
    if (read_curves(top, spec)) techniques.check_fades(); // a curve that was refused is not missing
    read_pass(top, spec);
    if (problems.size() != before) return std::nullopt;
    return spec;
}

} // namespace bowarm
