#include "studio/target_curves.hpp"

#include "studio/controller_names.hpp"
#include "studio/nearest_word.hpp"
#include "target/selection.hpp"

#include <string>

namespace bowarm
{
namespace
{

constexpr std::string_view quantity_words = "loudness|speed|force|contact point|direction|hair";
constexpr std::string_view colour_words = "speed|force|contact point";
constexpr double quantity_at_most = 30; // newtons; nothing else comes near

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
    {number("from", 0, quantity_at_most, 0.0, "the quantity's value at low"), [](CurveWay& c, const Given& g) { c.from = g.number; }},
    {number("to", 0, quantity_at_most, 1.0, "the quantity's value at high"), [](CurveWay& c, const Given& g) { c.to = g.number; }},
    {whole("low", 0, 16383, 0.0, "what is sent at from"), [](CurveWay& c, const Given& g) { c.low = g.whole; }},
    {whole("high", 0, 16383, Absent{}, "what is sent at to"), [](CurveWay& c, const Given& g) { c.high = g.whole; }},
    {number("exponent", 0.1, 10, 1.0, "bends the way between"), [](CurveWay& c, const Given& g) { c.exponent = g.number; }},
    {section("points", Absent{}, "the curve point by point: [[quantity, value], ...]")},
    {whole("dead_band", 0, 1000, 0.0, "a change up to this is not sent"), [](CurveWay& c, const Given& g) { c.dead_band = g.whole; }},
    {whole("initial", 0, 16383, Absent{}, "sent before anything has sounded"), [](CurveWay& c, const Given& g) { c.initial = g.whole; }},
    {whole("rate_high", 1, 1000, Absent{}, "most values a second"), [](CurveWay& c, const Given& g) { c.rate_high = g.whole; }},
    {number("smoothing_s", 0, 2, 0.0, "time in which it goes half the way"),
     [](CurveWay& c, const Given& g) { c.smoothing = Seconds{g.number}; }},
    {section("with", Absent{}, "quantities that colour it")},
};

constexpr KeyRow<Mixed> mixed_rows[] = {
    {word("quantity", colour_words, Needed{}, "what colours the curve"),
     [](Mixed& m, const Given& g) {
         constexpr BowQuantity of[] = {BowQuantity::speed, BowQuantity::force, BowQuantity::contact_point};
         m.quantity = of[g.word];
     }},
    {number("depth", -1, 1, Needed{}, "0 not at all, 1 wholly, below 0 the other way"),
     [](Mixed& m, const Given& g) { m.depth = g.number; }},
};

bool takes_number(const Controller& c, int number)
{
    if (c.kind == ControllerKind::control_change) return c.number.get() == number;
    if (c.kind == ControllerKind::control_change_14) return c.number.get() == number || c.number.get() + 32 == number;
    return false;
}

bool overlap(const Controller& a, const Controller& b)
{
    const bool a_numbered = a.kind == ControllerKind::control_change || a.kind == ControllerKind::control_change_14;
    if (!a_numbered) return a.kind == b.kind;
    return takes_number(b, a.number.get()) || (a.kind == ControllerKind::control_change_14 && takes_number(b, a.number.get() + 32));
}

bool selects_with(const TargetSpec& spec, const Controller& c)
{
    for (int number = 0; number < 128; ++number)
        if (takes_number(c, number) && selects(spec, control_change({}, Midi7::nearest(number), {}))) return true;
    return false;
}

bool is_number(const TomlValue& value) { return value.kind == TomlKind::whole || value.kind == TomlKind::number; }

std::optional<CurvePoint> point_of(const TomlValue& pair, int highest)
{
    if (pair.kind != TomlKind::array || pair.items.size() != 2) return std::nullopt;
    const TomlValue& at = pair.items[0];
    const TomlValue& value = pair.items[1];
    const bool in_range = is_number(at) && at.number >= 0 && at.number <= quantity_at_most;
    if (!in_range || value.kind != TomlKind::whole || value.whole < 0 || value.whole > highest) return std::nullopt;
    return CurvePoint{at.number, static_cast<int>(value.whole)};
}

void read_points(const Section& section, CurveWay& curve)
{
    for (const std::string_view other : {"from", "to", "low", "high", "exponent"})
        if (section.has(other)) section.complain(other, "stands beside points", "keep one: the points, or a range with an exponent");
    const TomlValue& value = *section.value().find("points");
    const int highest = curve.controller.highest();
    const auto refuse = [&](const std::string& what) { section.complain("points", what, "write points = [[0, 0], [0.5, 90], [1, 127]]"); };
    if (value.kind != TomlKind::array || value.items.size() < 2 || value.items.size() > curve.points.capacity()) {
        refuse("must be 2 to " + std::to_string(curve.points.capacity()) + " pairs of a quantity and a value");
        return;
    }
    int rises = 0;
    int falls = 0;
    for (const TomlValue& pair : value.items) {
        const auto point = point_of(pair, highest);
        if (!point) {
            refuse("each must be a quantity from 0 to 30 and a whole value from 0 to " + std::to_string(highest));
            return;
        }
        if (!curve.points.empty()) {
            if (!(point->at > curve.points.back().at)) {
                refuse("the quantity has to rise from point to point");
                return;
            }
            rises += point->value > curve.points.back().value;
            falls += point->value < curve.points.back().value;
        }
        curve.points.push_back(*point);
    }
    if (rises > 0 && falls > 0) refuse("the values have to go one way, up or down");
}

void check_range(const Section& section, CurveWay& curve)
{
    const int highest = curve.controller.highest();
    if (!section.has("high")) curve.high = highest;
    const std::string remedy = "this controller carries 0 to " + std::to_string(highest);
    if (curve.low > highest) section.complain("low", "too large", remedy);
    if (curve.high > highest) section.complain("high", "too large", remedy);
    if (curve.initial > highest) section.complain("initial", "too large", remedy);
    if (!(curve.to > curve.from))
        section.complain(section.has("to") ? "to" : "from", "to must be above from", "exchange low and high to turn a curve round");
}

void check_controller(const Section& section, const CurveWay& curve, const TargetSpec& spec)
{
    for (const CurveWay& other : spec.curves) {
        if (!overlap(curve.controller, other.controller)) continue;
        section.complain("sends", "another curve has this controller", "mix the two: with = [{quantity = ..., depth = ...}]");
        break;
    }
    if (selects_with(spec, curve.controller))
        section.complain("sends", "this controller selects a technique or a state", "take another one for the curve");
}

void read_colours(const Section& section, CurveWay& curve)
{
    for (const Section& mix : section.tables("with", curve.mixed.capacity())) {
        Mixed mixed;
        const std::size_t before = mix.findings().problems().size();
        read_rows(mix, mixed_rows, mixed);
        if (mix.findings().problems().size() != before) continue;
        if (mixed.quantity == curve.quantity) mix.complain("quantity", "the curve's own quantity", "colour it with another one");
        for (const Mixed& other : curve.mixed)
            if (other.quantity == mixed.quantity) mix.complain("quantity", "twice in one curve", "take one of them out");
        curve.mixed.push_back(mixed);
    }
}

} // namespace

bool read_curves(const Section& top, TargetSpec& spec)
{
    const std::size_t before_all = top.findings().problems().size();
    for (const Section& section : top.tables("curve", spec.curves.capacity())) {
        CurveWay curve;
        curve.controller.channel = spec.channel;
        const std::size_t before = top.findings().problems().size();
        read_rows(section, curve_rows, curve);
        read_colours(section, curve);
        if (top.findings().problems().size() != before) continue;
        if (section.has("points")) read_points(section, curve);
        check_range(section, curve);
        check_controller(section, curve, spec);
        spec.curves.push_back(curve);
    }
    return top.findings().problems().size() == before_all;
}

namespace
{

struct PassText {
    std::vector<std::string> drop;
};
constexpr KeyRow<PassText> pass_rows[] = {
    {texts("drop", 32, "controllers that are not passed on"), [](PassText& p, const Given& g) { p.drop = g.texts; }},
    {section("map", Absent{}, "controllers that are passed on as others")},
};

// What may be passed: one message that carries one value.
std::optional<Controller> passed_controller(std::string_view text)
{
    const auto controller = controller_of(text, Channel{});
    return controller && controller->kind != ControllerKind::control_change_14 ? controller : std::nullopt;
}

constexpr const char* passed_forms =
    "write \"cc 1\", \"channel pressure\" or \"pitch bend\"; bank, parameter and mode numbers stay as they are";

void add_rule(const Section& at, std::string_view key, TargetSpec& spec, const PassRule& rule)
{
    for (const PassRule& other : spec.pass)
        if (other.from == rule.from) {
            at.complain(key, "the same controller twice", "keep one of them");
            return;
        }
    if (!spec.pass.push_back(rule)) at.complain(key, "more than 32 controllers in all", "take the rest out");
}

} // namespace

void read_pass(const Section& top, TargetSpec& spec)
{
    const auto pass = top.table("pass");
    if (!pass) return;
    PassText text;
    read_rows(*pass, pass_rows, text);
    for (const std::string& name : text.drop) {
        if (const auto from = passed_controller(name))
            add_rule(*pass, "drop", spec, {*from, std::nullopt});
        else
            pass->complain("drop", "no controller '" + shown(name) + "'", passed_forms);
    }
    const auto map = pass->table("map");
    if (!map) return;
    for (const auto& [name, value] : map->value().entries) {
        const auto from = passed_controller(name);
        const auto to = value.kind == TomlKind::text ? passed_controller(value.text) : std::nullopt;
        if (!from || !to) {
            map->complain(name, !from ? "no controller '" + shown(name) + "'" : "must become a controller", passed_forms);
            continue;
        }
        bool taken = selects_with(spec, *to);
        for (const CurveWay& curve : spec.curves) taken = taken || overlap(curve.controller, *to);
        if (taken) {
            map->complain(name, "the arm itself sends " + value.text, "pass it on as another one");
            continue;
        }
        add_rule(*map, name, spec, {*from, to});
    }
}

} // namespace bowarm
