#include "status/json_text.hpp"
#include "status/methods.hpp"
#include "take/words.hpp"

#include <array>
#include <boost/json/array.hpp>
#include <boost/json/parse.hpp>
#include <cstring>
#include <string>
#include <string_view>

namespace bowarm
{
namespace json = boost::json;

namespace
{

// A stroke so slow that it would last longer than this says nothing about when the hair ends.
constexpr double hair_left_longest_s = 600;

json::string text(std::string_view words) { return json::string{words.data(), words.size()}; }

} // namespace

// For a screen that is read from afar; the report has the long sentence, with its number.
std::string_view short_warning(Warning warning, Unplayable unplayable)
{
    switch (warning) {
    case Warning::none:
        break;
    case Warning::hair_runs_out:
        return "the hair ran out: the bow changed inside the note";
    case Warning::retake_has_no_time:
        return "no time to carry the bow back";
    case Warning::loudness_out_of_reach:
        return "louder than the bow can play here";
    case Warning::out_of_range:
        return "the instrument does not have this note";
    case Warning::not_playable_together:
        return unplayable_words(unplayable);
    case Warning::off_string_too_slow:
        return "too slow for the bow to bounce";
    case Warning::off_string_too_fast:
        return "too fast for the bow to bounce";
    case Warning::off_string_too_loud:
        return "too loud for the bow to bounce";
    case Warning::too_many_notes:
        return "too many notes at once: the newest was left out";
    case Warning::technique_missing:
        return "the target does not have this stroke";
    case Warning::change_too_quick:
        return "no time to change hand, bow or mute";
    case Warning::col_legno:
        return "col legno: mind good bows";
    case Warning::tremolo_too_long:
        return "tremolo too long for the arm";
    case Warning::ricochet_too_long:
        return "held longer than a thrown bow bounces";
    case Warning::pizzicato_too_fast:
        return "too fast to pluck";
    case Warning::no_such_harmonic:
        return "no string has this harmonic";
    }
    return "";
}

namespace
{

template <std::size_t N> std::string text_of(const std::array<char, N>& name)
{
    return utf8_text(std::string_view{name.data(), ::strnlen(name.data(), N)});
}

json::value bar_of(const BarPlace& place) { return place.bar > 0 ? json::value(place.bar) : json::value(nullptr); }
json::value beat_of(const BarPlace& place) { return place.bar > 0 ? json_number(place.beat) : json::value(nullptr); }

json::array reasons_of(const Snapshot& snapshot)
{
    json::array reasons;
    for (const auto reason : snapshot.reasons) {
        if (reason != Reason::none) reasons.emplace_back(reason_in_bar(reason, snapshot.stroke_bar));
    }
    return reasons;
}

json::array warnings_of(const Snapshot& snapshot)
{
    json::array warnings;
    for (const auto& warned : snapshot.last_warnings) {
        if (warned.warning == Warning::none) continue;
        warnings.emplace_back(json::object{{"code", text(warning_word(warned.warning))},
                                           {"text", text(short_warning(warned.warning, warned.unplayable))},
                                           {"at_ns", warned.at.ns},
                                           {"bar", bar_of(warned.place)},
                                           {"beat", beat_of(warned.place)}});
    }
    return warnings;
}

json::object counts_of(const Snapshot& snapshot)
{
    return {{"notes", snapshot.notes},      {"strokes", snapshot.strokes},
            {"retakes", snapshot.retakes},  {"forced_changes", snapshot.forced_changes},
            {"repairs", snapshot.repairs},  {"unmended", snapshot.unmended},
            {"warnings", snapshot.warnings}};
}

json::value direction_of(const Snapshot& snapshot)
{
    if (snapshot.strokes == 0 || is_plucked(snapshot.technique)) return nullptr;
    return text(direction_word(snapshot.direction));
}

json::value hair_left_of(const Snapshot& snapshot)
{
    const double left = snapshot.hair_left.value;
    return snapshot.sounding && left >= 0 && left <= hair_left_longest_s ? json_number(left) : json::value(nullptr);
}

} // namespace

namespace
{

// One row a field: what it holds, for readers and machines, and where it comes from.
struct Field {
    std::string_view name;
    std::string_view schema; // JSON Schema
    std::string_view meaning;
    json::value (*of)(const Snapshot&);
};

constexpr std::string_view boolean = R"({"type":"boolean"})";
constexpr std::string_view word = R"({"type":"string"})";
constexpr std::string_view part = R"({"type":["number","null"],"minimum":0,"maximum":1})";
constexpr std::string_view number_or_null = R"({"type":["number","null"]})";
constexpr std::string_view whole_or_null = R"({"type":["integer","null"]})";
constexpr std::string_view word_or_null = R"({"type":["string","null"]})";

constexpr std::string_view counts_schema = R"({"type":"object","additionalProperties":{"type":"integer","minimum":0}})";
constexpr std::string_view warnings_schema =
    R"({"type":"array","maxItems":3,"items":{"type":"object","required":["code","text","at_ns","bar","beat"],"properties":{)"
    R"("code":{"type":"string"},"text":{"type":"string"},"at_ns":{"type":"integer"},"bar":{"type":["integer","null"]},"beat":{"type":["number","null"]}}}})";

json::value number_of(std::uint8_t value, std::uint8_t none) { return value == none ? json::value(nullptr) : json::value(value); }

constexpr Field fields[] = {
    {"at_ns", R"({"type":"integer"})", "ns, the engine's time, monotonic", [](const Snapshot& s) { return json::value(s.at.ns); }},
    {"name", word, "of the player", [](const Snapshot& s) { return json::value(text_of(s.name)); }},
    {"instrument", word, "of the player", [](const Snapshot& s) { return json::value(text_of(s.instrument)); }},
    {"target", word, "of the player", [](const Snapshot& s) { return json::value(text_of(s.target)); }},
    {"bypassed", boolean, "the arm is out: what is played goes through untouched",
     [](const Snapshot& s) { return json::value(s.bypassed); }},
    {"alternating", boolean, "asked for: strokes simply alternate", [](const Snapshot& s) { return json::value(s.alternating); }},
    {"amount", part, "0 to 1, how far the arm's curves and choices go", [](const Snapshot& s) { return json_number(s.amount); }},
    {"muted", boolean, "asked for: the mute", [](const Snapshot& s) { return json::value(s.muted); }},
    {"zone", R"({"enum":["sul-ponticello","ordinary","sul-tasto"]})", "asked for: where between bridge and fingerboard",
     [](const Snapshot& s) { return json::value(text(zone_word(s.zone))); }},
    {"sounding", boolean, "something sounds", [](const Snapshot& s) { return json::value(s.sounding); }},
    {"sounding_notes", R"({"type":"integer","minimum":0})", "how many notes sound",
     [](const Snapshot& s) { return json::value(s.sounding_notes); }},
    {"pitch", whole_or_null, "MIDI key of the newest sounding note",
     [](const Snapshot& s) { return s.sounding ? json::value(s.pitch) : json::value(nullptr); }},
    {"technique", word, "of the stroke", [](const Snapshot& s) { return json::value(text(technique_word(s.technique))); }},
    {"technique_chosen", boolean, "chosen by the person; false: read from the playing",
     [](const Snapshot& s) { return json::value(s.technique_chosen); }},
    {"read", word_or_null,
     "what the playing was read as: ambiguous, slurred, separate, short, accented-short, fast-repeated; null: chosen, or nothing yet",
     [](const Snapshot& s) { return s.read ? json::value(text(family_word(*s.read))) : json::value(nullptr); }},
    {"direction", R"({"enum":["down","up",null]})", "of the stroke; null: plucked, or no stroke yet", direction_of},
    {"on_string", boolean, "the bow touches the string", [](const Snapshot& s) { return json::value(s.on_string); }},
    {"string", word_or_null, "pitch class of the open string",
     [](const Snapshot& s) {
         return s.string == no_string ? json::value(nullptr) : json::value(text(pitch_class_word(Midi7::nearest(s.string_key))));
     }},
    {"stopped", whole_or_null, "semitones above the open string, of the newest note; 0: open",
     [](const Snapshot& s) { return number_of(s.stopped, no_place); }},
    {"position", whole_or_null, "of the hand, as players count; null: open string, or the thumb plays",
     [](const Snapshot& s) { return number_of(s.position, no_place); }},
    {"hair", part, "0 frog to 1 tip, where the string touches the hair", [](const Snapshot& s) { return json_number(s.hair.value); }},
    {"hair_left_s", number_or_null, "s until the hair ends, at this speed in this direction; null at rest", hair_left_of},
    {"speed_m_s", number_or_null, "m/s of the bow, without sign", [](const Snapshot& s) { return json_number(s.speed.value); }},
    {"force_n", number_or_null, "N of the bow on the string", [](const Snapshot& s) { return json_number(s.force.value); }},
    {"force_low_n", number_or_null, "N, the least with which the string gives its own note",
     [](const Snapshot& s) { return json_number(s.force_low.value); }},
    {"force_high_n", number_or_null, "N, the most with which it does", [](const Snapshot& s) { return json_number(s.force_high.value); }},
    {"beta", part, "0 to 1, distance from the bridge over the sounding length",
     [](const Snapshot& s) { return json_number(s.beta.value); }},
    {"loudness", part, "0 to 1, wanted by the person", [](const Snapshot& s) { return json_number(s.loudness.value); }},
    {"bar", whole_or_null, "from 1; null: not known", [](const Snapshot& s) { return bar_of(s.place); }},
    {"beat", number_or_null, "from 1, in beats of the meter; null: not known", [](const Snapshot& s) { return beat_of(s.place); }},
    {"confidence", part, "0 to 1, how sure the place in the bar is", [](const Snapshot& s) { return json_number(s.place.confidence); }},
    {"beat_from", R"({"enum":["file","clock","tap","configuration","playing","none"]})",
     "who told it; playing: estimated, no number below a confidence of 0.5",
     [](const Snapshot& s) { return json::value(text(beat_source_word(s.place.source))); }},
    {"reasons", R"({"type":"array","maxItems":3,"items":{"type":"string"}})", "why the last stroke went as it did, strongest first",
     [](const Snapshot& s) { return json::value(reasons_of(s)); }},
    {"last_retake", boolean, "the bow was lifted and set down again before the last stroke",
     [](const Snapshot& s) { return json::value(s.last_retake); }},
    {"counts", counts_schema, "since the start: notes, strokes, retakes, forced_changes, repairs, unmended, warnings",
     [](const Snapshot& s) { return json::value(counts_of(s)); }},
    {"warnings", warnings_schema, "newest first; the code is a word that stays, the text is for reading",
     [](const Snapshot& s) { return json::value(warnings_of(s)); }},
};

} // namespace

json::object snapshot_object(const Snapshot& s)
{
    json::object out;
    out.reserve(std::size(fields) + 2);
    for (const Field& field : fields) out.emplace(field.name, field.of(s));
    return out;
}

json::object snapshot_schema()
{
    json::object properties;
    json::array required;
    for (const Field& field : fields) {
        json::object schema = json::parse(field.schema).as_object();
        schema["description"] = field.meaning;
        properties[field.name] = std::move(schema);
        required.emplace_back(field.name);
    }
    return {{"type", "object"}, {"properties", std::move(properties)}, {"required", std::move(required)}};
}

json::object port_object(const PortState& port)
{
    json::array connected;
    for (const auto& name : port.connected) connected.emplace_back(utf8_text(name));
    return {{"role", utf8_text(port.role)},      {"name", utf8_text(port.name)}, {"state", utf8_text(port.state)},
            {"connected", std::move(connected)}, {"messages", port.messages},    {"dropped", port.dropped},
            {"note", utf8_text(port.note)}};
}

json::array ports_array(const ServiceState& state)
{
    json::array ports;
    for (const auto& port : state.ports) ports.emplace_back(port_object(port));
    return ports;
}

json::object service_object(const ServiceState& state)
{
    json::object out;
    out["version"] = utf8_text(state.version);
    out["running_s"] = json_number(state.running_s);
    out["midi_system"] = utf8_text(state.midi_system);
    out["take_folder"] = utf8_text(state.take_folder);
    out["take_problem"] = utf8_text(state.take_problem);
    out["inputs"] = state.inputs;
    out["lost_inputs"] = state.lost_inputs;
    out["latest_wake_ns"] = state.latest_wake_ns;
    out["under_hands"] = state.under_hands;
    out["ports"] = ports_array(state);
    return out;
}

std::string snapshot_json(const Snapshot& snapshot) { return json_text(snapshot_object(snapshot)); }

} // namespace bowarm
