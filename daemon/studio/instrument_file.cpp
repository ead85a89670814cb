#include "studio/instrument_file.hpp"

#include "studio/key_names.hpp"
#include "studio/key_rows.hpp"
#include "studio/text_array.hpp"

namespace bowarm
{
namespace
{

// The ranges are wider than any bowed instrument, narrow enough to catch millimetres or grams given for metres or kilograms.
constexpr KeyRow<Instrument> top_rows[] = {
    {whole("version", 1, 1, Needed{}, "the version of this file's form, 1")},
    {text("name", 23, Needed{}, "the instrument's name"), [](Instrument& i, const Given& g) { put_text(g.text, i.name); }},
    {section("string", Needed{}, "the strings, lowest first")},
    {section("dynamic", Needed{}, "steady tones, softest first")},
    {section("range", Needed{}, "the sounding keys")},
    {section("bow", Needed{}, "the bow")},
    {section("body", Needed{}, "string length, friction, bridge")},
    {section("limits", Needed{}, "what the arm gives")},
    {section("rates", Needed{}, "bouncing, tremolo, retakes")},
};

constexpr KeyRow<StringData> string_rows[] = {
    {key("open", Needed{}, "the open string's sounding key"), [](StringData& s, const Given& g) { s.open_key = Midi7::nearest(g.whole); }},
    {number("impedance_kg_s", 0.01, 20, Needed{}, "wave impedance, tension / (2 length frequency)"),
     [](StringData& s, const Given& g) { s.impedance = KilogramsPerSecond{g.number}; }},
};

constexpr KeyRow<DynamicRow> dynamic_rows[] = {
    {number("loudness", 0, 1, Needed{}, "0 the softest, 1 the loudest"),
     [](DynamicRow& d, const Given& g) { d.loudness = Loudness{g.number}; }},
    {number("speed_m_s", 0.01, 5, Needed{}, "bow speed"), [](DynamicRow& d, const Given& g) { d.speed = MetresPerSecond{g.number}; }},
    {number("force_n", 0.01, 30, Needed{}, "bow force"), [](DynamicRow& d, const Given& g) { d.force = Newtons{g.number}; }},
    {number("beta", 0.005, 0.5, Needed{}, "distance to the bridge / string length"),
     [](DynamicRow& d, const Given& g) { d.beta = Beta{g.number}; }},
};

constexpr KeyRow<Instrument> range_rows[] = {
    {key("lowest", Needed{}, "lowest sounding key"), [](Instrument& i, const Given& g) { i.lowest_key = Midi7::nearest(g.whole); }},
    {key("highest", Needed{}, "highest sounding key"), [](Instrument& i, const Given& g) { i.highest_key = Midi7::nearest(g.whole); }},
};

constexpr KeyRow<Instrument> bow_rows[] = {
    {number("hair_m", 0.1, 1, Needed{}, "hair that a player uses"), [](Instrument& i, const Given& g) { i.hair = Metres{g.number}; }},
    {number("mass_kg", 0.02, 0.3, Needed{}, "mass of the bow"), [](Instrument& i, const Given& g) { i.bow_mass = Kilograms{g.number}; }},
    {number("tension_n", 10, 200, Needed{}, "tension of the hair"),
     [](Instrument& i, const Given& g) { i.hair_tension = Newtons{g.number}; }},
    {number("length_m", 0.2, 1, Needed{}, "hair between frog and tip"),
     [](Instrument& i, const Given& g) { i.hair_between = Metres{g.number}; }},
    {number("inertia_kg_m2", 0.0005, 0.1, Needed{}, "moment of inertia about the frog"),
     [](Instrument& i, const Given& g) { i.bow_inertia = KilogramSquareMetres{g.number}; }},
    {number("restitution", 0.1, 0.99, 0.8, "speed after a bounce over speed before"),
     [](Instrument& i, const Given& g) { i.restitution = g.number; }},
    {number("balance_from_frog_m", 0.02, 0.6, Needed{}, "balance point"),
     [](Instrument& i, const Given& g) { i.balance_from_frog = Metres{g.number}; }},
};

constexpr KeyRow<Instrument> body_rows[] = {
    {number("string_length_m", 0.1, 2, Needed{}, "sounding length of an open string"),
     [](Instrument& i, const Given& g) { i.string_length = Metres{g.number}; }},
    {number("hand_span_m", 0.02, 0.5, 0.1, "widest stretch between two stopped notes on neighbouring strings"),
     [](Instrument& i, const Given& g) { i.hand_span = Metres{g.number}; }},
    {number("hand_frame_m", 0.02, 0.5, 0.075, "between first and fourth finger at ease"),
     [](Instrument& i, const Given& g) { i.hand_frame = Metres{g.number}; }},
    {whole("widest_stretch", 2, 24, 9.0, "of a hand anywhere, in semitones"),
     [](Instrument& i, const Given& g) { i.widest_stretch = g.whole; }},
    {whole("thumb_from", 5, 24, Absent{}, "semitones above the open string from which the thumb plays, too; never when absent"),
     [](Instrument& i, const Given& g) { i.thumb_from = g.whole; }},
    {number("sticking_friction", 0.1, 2, 0.8, "sticking friction coefficient"),
     [](Instrument& i, const Given& g) { i.sticking_friction = g.number; }},
    {number("sliding_friction_at_slip", 0.05, 1.5, 0.4, "sliding friction coefficient at the speed of the first slip"),
     [](Instrument& i, const Given& g) { i.sliding_friction_at_slip = g.number; }},
    {number("friction_difference", 0.05, 1.5, 0.5, "static minus sliding friction coefficient"),
     [](Instrument& i, const Given& g) { i.friction_difference = g.number; }},
    {number("bridge_resistance_kg_s", 1, 1000, Needed{}, "mechanical resistance at the bridge"),
     [](Instrument& i, const Given& g) { i.bridge_resistance = KilogramsPerSecond{g.number}; }},
};

constexpr KeyRow<Instrument> limit_rows[] = {
    {number("speed_low_m_s", 0.005, 1, Needed{}, "slowest steady bow"),
     [](Instrument& i, const Given& g) { i.speed_low = MetresPerSecond{g.number}; }},
    {number("speed_high_m_s", 0.1, 5, Needed{}, "fastest bow"),
     [](Instrument& i, const Given& g) { i.speed_high = MetresPerSecond{g.number}; }},
    {number("force_low_n", 0.01, 5, Needed{}, "lightest steady bow"),
     [](Instrument& i, const Given& g) { i.force_low = Newtons{g.number}; }},
    {number("force_high_at_frog_n", 0.1, 30, Needed{}, "heaviest bow at the frog"),
     [](Instrument& i, const Given& g) { i.force_high_at_frog = Newtons{g.number}; }},
    {number("force_high_at_tip_n", 0.1, 30, Needed{}, "heaviest bow at the tip"),
     [](Instrument& i, const Given& g) { i.force_high_at_tip = Newtons{g.number}; }},
    {number("beta_low", 0.005, 0.3, Needed{}, "nearest to the bridge in ordinary playing"),
     [](Instrument& i, const Given& g) { i.beta_low = Beta{g.number}; }},
    {number("beta_high", 0.05, 0.5, Needed{}, "nearest to the fingerboard in ordinary playing"),
     [](Instrument& i, const Given& g) { i.beta_high = Beta{g.number}; }},
};

constexpr KeyRow<Instrument> rate_rows[] = {
    {number("spiccato_low_hz", 0.1, 30, Needed{}, "slowest spiccato, notes a second"),
     [](Instrument& i, const Given& g) { i.spiccato.low = Hertz{g.number}; }},
    {number("spiccato_high_hz", 0.1, 30, Needed{}, "fastest spiccato"),
     [](Instrument& i, const Given& g) { i.spiccato.high = Hertz{g.number}; }},
    {number("sautille_low_hz", 0.1, 30, Needed{}, "slowest sautille, notes a second"),
     [](Instrument& i, const Given& g) { i.sautille.low = Hertz{g.number}; }},
    {number("sautille_high_hz", 0.1, 30, Needed{}, "fastest sautille"),
     [](Instrument& i, const Given& g) { i.sautille.high = Hertz{g.number}; }},
    {number("tremolo_hz", 1, 30, Needed{}, "strokes a second of a soft unmeasured tremolo"),
     [](Instrument& i, const Given& g) { i.tremolo_rate = Hertz{g.number}; }},
    {number("retake_short_s", 0.01, 2, Needed{}, "to lift and set back a third of the bow"),
     [](Instrument& i, const Given& g) { i.retake_short = Seconds{g.number}; }},
    {number("retake_whole_s", 0.01, 2, Needed{}, "to lift and set back the whole bow"),
     [](Instrument& i, const Given& g) { i.retake_whole = Seconds{g.number}; }},
    {number("spiccato_loudest", 0, 1, Needed{}, "above this loudness a short note stays on the string"),
     [](Instrument& i, const Given& g) { i.spiccato_loudest = Loudness{g.number}; }},
};

void read_strings(const Section& top, Instrument& into)
{
    const auto sections = top.tables("string", into.strings.capacity());
    if (sections.empty() && top.has("string")) return;
    for (const Section& section : sections) {
        StringData data;
        read_rows(section, string_rows, data);
        if (!into.strings.empty() && data.open_key <= into.strings.back().open_key)
            section.complain("open", "not above the string before", "list the strings from the lowest up");
        into.strings.push_back(data);
    }
}

void read_dynamics(const Section& top, Instrument& into)
{
    for (const Section& section : top.tables("dynamic", into.dynamics.capacity())) {
        DynamicRow row;
        read_rows(section, dynamic_rows, row);
        if (!into.dynamics.empty() && !(row.loudness > into.dynamics.back().loudness))
            section.complain("loudness", "not above the row before", "list the dynamics from the softest up");
        into.dynamics.push_back(row);
    }
}

// What is right in each number and wrong between them.
void compare(const Section& top, const Instrument& i)
{
    const auto ordered = [&](std::string_view table, std::string_view key, bool right, const char* what, const char* remedy) {
        if (right) return;
        if (const auto section = top.table(table)) section->complain(key, what, remedy);
    };
    if (!i.strings.empty()) {
        ordered("range", "lowest", i.lowest_key >= i.strings[0].open_key, "below the lowest open string", "raise it, or add the string");
        ordered("range", "highest", i.highest_key >= i.strings.back().open_key, "below the highest open string", "raise it");
    }
    ordered("body", "hand_frame_m", i.hand_frame <= i.hand_span, "above hand_span_m", "a stretch is wider than a hand at ease");
    ordered("bow", "balance_from_frog_m", i.balance_from_frog < i.hair, "beyond the hair", "it is measured from the frog");
    ordered("limits", "speed_high_m_s", i.speed_high > i.speed_low, "not above speed_low_m_s", "exchange them");
    ordered("limits", "force_high_at_tip_n", i.force_high_at_tip > i.force_low, "not above force_low_n", "exchange them");
    ordered("limits", "force_high_at_frog_n", i.force_high_at_frog >= i.force_high_at_tip, "below force_high_at_tip_n",
            "an arm gives more at the frog");
    ordered("limits", "beta_high", i.beta_high > i.beta_low, "not above beta_low", "exchange them");
    ordered("rates", "spiccato_high_hz", i.spiccato.high > i.spiccato.low, "not above spiccato_low_hz", "exchange them");
    ordered("rates", "sautille_high_hz", i.sautille.high > i.sautille.low, "not above sautille_low_hz", "exchange them");
    ordered("rates", "retake_whole_s", i.retake_whole >= i.retake_short, "below retake_short_s", "exchange them");
    for (const Section& row : top.tables("dynamic", i.dynamics.capacity())) {
        DynamicRow d;
        std::vector<Problem> known_already;
        Findings quiet{row.findings().file(), known_already};
        read_rows(Section{quiet, row.value(), row.name()}, dynamic_rows, d);
        if (!(d.speed >= i.speed_low && d.speed <= i.speed_high))
            row.complain("speed_m_s", "outside the limits of this file", "keep it within speed_low_m_s and speed_high_m_s");
        if (!(d.force >= i.force_low && d.force <= i.force_high_at_frog))
            row.complain("force_n", "outside the limits of this file", "keep it within force_low_n and force_high_at_frog_n");
        if (!(d.beta >= i.beta_low && d.beta <= i.beta_high))
            row.complain("beta", "outside the limits of this file", "keep it within beta_low and beta_high");
    }
}

} // namespace

std::optional<Instrument> instrument_of(const TomlFile& file, std::vector<Problem>& problems)
{
    const std::size_t before = problems.size();
    Findings findings{file, problems};
    const Section top{findings, file.root, ""};
    Instrument out;
    read_rows(top, top_rows, out);
    read_strings(top, out);
    read_dynamics(top, out);
    if (const auto section = top.table("range")) read_rows(*section, range_rows, out);
    if (const auto section = top.table("bow")) read_rows(*section, bow_rows, out);
    if (const auto section = top.table("body")) read_rows(*section, body_rows, out);
    if (const auto section = top.table("limits")) read_rows(*section, limit_rows, out);
    if (const auto section = top.table("rates")) read_rows(*section, rate_rows, out);
    if (problems.size() != before) return std::nullopt; // comparing wrong numbers would only repeat the news
    if (out.strings.empty()) top.complain("string", "no string", "give at least one [[string]]");
    if (out.dynamics.empty()) top.complain("dynamic", "no row", "give at least one [[dynamic]]");
    compare(top, out);
    if (problems.size() != before) return std::nullopt;
    return out;
}

} // namespace bowarm
