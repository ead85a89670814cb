#include "studio/vibrato_section.hpp"

#include "studio/controller_names.hpp"
#include "studio/key_names.hpp"

#include <string>

namespace bowarm
{
namespace
{

std::optional<Complaint> put_controller(VibratoManner& into, const std::string& text)
{
    const auto control = person_control_of(text);
    if (!control || control->kind == PersonController::channel_pressure)
        return Complaint{"no controller that can be shaped", "write for instance \"cc 1\", or \"none\""};
    into.controller.reset();
    if (control->kind == PersonController::control_change) into.controller = control->number;
    return std::nullopt;
}

constexpr KeyRow<VibratoManner> rows[] = {
    {text("controller", 30, "none", "the controller that carries your vibrato"),
     [](VibratoManner& v, const Given& g) { return put_controller(v, g.text); }},
    {number("onset_delay_s", 0, 5, 0.0, "from the start of a note that is not slurred"),
     [](VibratoManner& v, const Given& g) { v.onset_delay = Seconds{g.number}; }},
    {number("onset_rise_s", 0, 5, 0.0, "from nothing to the whole"),
     [](VibratoManner& v, const Given& g) { v.onset_rise = Seconds{g.number}; }},
    {number("in_sul_tasto", 0, 1, 1.0, "what is left of it over the fingerboard"),
     [](VibratoManner& v, const Given& g) { v.in_sul_tasto = g.number; }},
    {section("in", Absent{}, "what is left of it in techniques, by name")},
};

void read_shares(const Section& section, VibratoManner& into)
{
    const auto names = technique_names();
    for (std::size_t i = 0; i < names.size(); ++i)
        if (const auto given = section.read(number(names[i], 0, 1, Absent{}, "what is left of the vibrato"))) into.in[i] = given->number;
    section.refuse_unknown(names);
}

bool is(const PersonControl& control, const std::optional<Midi7>& number)
{
    return number && control.kind == PersonController::control_change && control.number == *number;
}

} // namespace

void read_vibrato(const Section& section, PlayerConfig& into)
{
    VibratoManner& vibrato = into.vibrato;
    read_rows(section, rows, vibrato);
    if (const auto shares = section.table("in")) read_shares(*shares, vibrato);
    bool taken = false;
    for (const PersonControl* control : {&into.controls.loudness, &into.controls.contact_point, &into.controls.amount})
        taken = taken || is(*control, vibrato.controller);
    for (const ControllerAction& action : into.controls.controllers) taken = taken || action.number == vibrato.controller;
    if (taken) section.complain("controller", "has a purpose in [controls] already", "give each purpose a controller of its own");
}

} // namespace bowarm
