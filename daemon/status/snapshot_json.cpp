#include "status/json_text.hpp"
#include "status/methods.hpp"
#include "take/words.hpp"

#include <array>
#include <boost/json/array.hpp>
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

// For a screen that is read from afar; the report has the long sentence, with its number.
std::string_view short_sentence(const Snapshot::Warned& warned)
{
    switch (warned.warning) {
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
        return unplayable_words(warned.unplayable);
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
                                           {"text", text(short_sentence(warned))},
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

json::object snapshot_object(const Snapshot& s)
{
    json::object out;
    out["at_ns"] = s.at.ns;
    out["name"] = text_of(s.name);
    out["instrument"] = text_of(s.instrument);
    out["target"] = text_of(s.target);
    out["bypassed"] = s.bypassed;
    out["alternating"] = s.alternating;
    out["amount"] = json_number(s.amount);
    out["muted"] = s.muted;
    out["zone"] = text(zone_word(s.zone));
    out["sounding"] = s.sounding;
    out["sounding_notes"] = s.sounding_notes;
    out["pitch"] = s.sounding ? json::value(s.pitch) : json::value(nullptr);
    out["technique"] = text(technique_word(s.technique));
    out["technique_chosen"] = s.technique_chosen;
    out["read"] = s.read ? json::value(text(family_word(*s.read))) : json::value(nullptr);
    out["direction"] = direction_of(s);
    out["on_string"] = s.on_string;
    out["string"] = s.string == no_string ? json::value(nullptr) : json::value(text(pitch_class_word(Midi7::nearest(s.string_key))));
    out["stopped"] = s.stopped == no_place ? json::value(nullptr) : json::value(s.stopped);
    out["position"] = s.position == no_place ? json::value(nullptr) : json::value(s.position);
    out["hair"] = json_number(s.hair.value);
    out["hair_left_s"] = hair_left_of(s);
    out["speed_m_s"] = json_number(s.speed.value);
    out["force_n"] = json_number(s.force.value);
    out["force_low_n"] = json_number(s.force_low.value);
    out["force_high_n"] = json_number(s.force_high.value);
    out["beta"] = json_number(s.beta.value);
    out["loudness"] = json_number(s.loudness.value);
    out["bar"] = bar_of(s.place);
    out["beat"] = beat_of(s.place);
    out["confidence"] = json_number(s.place.confidence);
    out["beat_from"] = text(beat_source_word(s.place.source));
    out["reasons"] = reasons_of(s);
    out["last_retake"] = s.last_retake;
    out["counts"] = counts_of(s);
    out["warnings"] = warnings_of(s);
    return out;
}

json::object service_object(const ServiceState& state)
{
    json::array ports;
    for (const auto& port : state.ports) {
        json::array connected;
        for (const auto& name : port.connected) connected.emplace_back(utf8_text(name));
        ports.emplace_back(json::object{{"role", utf8_text(port.role)},
                                        {"name", utf8_text(port.name)},
                                        {"state", utf8_text(port.state)},
                                        {"connected", std::move(connected)},
                                        {"messages", port.messages},
                                        {"dropped", port.dropped},
                                        {"note", utf8_text(port.note)}});
    }
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
    out["ports"] = std::move(ports);
    return out;
}

std::string snapshot_json(const Snapshot& snapshot) { return json_text(snapshot_object(snapshot)); }

} // namespace bowarm
