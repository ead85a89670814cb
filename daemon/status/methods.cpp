#include "status/methods.hpp"

#include "status/json_text.hpp"
#include "status/parameters.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <array>
#include <boost/json/array.hpp>
#include <boost/json/parse.hpp>
#include <cmath>
#include <string>
#include <vector>

namespace bowarm
{
namespace json = boost::json;

namespace
{

using enum ParameterKind;

// What a method is called with.
struct Call {
    Given given;
    StatusSource& source;
    Subscriber* subscriber;
};

struct Method {
    std::string_view name;
    std::string_view summary;
    std::vector<Parameter> parameters;
    std::string_view result_name;
    std::string_view result; // JSON Schema
    json::value (*run)(const Call&);
};

constexpr std::array<std::string_view, 2> directions{"down", "up"};
constexpr std::array<std::string_view, 3> zones{"sul-ponticello", "ordinary", "sul-tasto"};
constexpr std::array<std::string_view, 4> levels{"debug", "info", "warning", "error"};

std::array<std::string_view, technique_count> all_techniques()
{
    std::array<std::string_view, technique_count> words{};
    for (std::size_t i = 0; i < words.size(); ++i) words[i] = technique_word(static_cast<Technique>(i));
    return words;
}

constexpr std::array<std::string_view, 18> strings{"1",  "2", "3", "4",  "5", "6",  "C", "C#", "D",
                                                   "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"};
constexpr std::size_t strings_by_number = 6;
constexpr double players_most = 255;

constexpr Parameter player_row{"player", whole, false, "which player, from 0; the first when absent", 0, players_most};
constexpr std::string_view accepted_schema = R"({"type":"object","required":["accepted"],"properties":{"accepted":{"const":true}}})";

std::size_t player_of(const Call& call)
{
    const std::size_t players = call.source.player_count();
    const auto player = static_cast<std::size_t>(call.given.whole("player").value_or(0));
    if (player < players) return player;
    throw RpcError{rpc_code::invalid_params, "\"player\" must be a whole number from 0, below " + std::to_string(players)};
}

json::value accepted() { return json::object{{"accepted", true}}; }

void command_to(StatusSource& source, std::size_t player, Command command, std::uint8_t argument = 0)
{
    if (!source.command(player, command, argument))
        throw RpcError{rpc_code::not_now, "the engine has too many commands waiting; ask again"};
}

json::value command(const Call& call, Command command, std::uint8_t argument = 0)
{
    command_to(call.source, player_of(call), command, argument);
    return accepted();
}

json::value on_or_off(const Call& call, Command on, Command off, std::uint8_t argument = 0)
{
    return command(call, call.given.flag("on", true) ? on : off, argument);
}

// As a 7-bit controller would say it.
std::uint8_t in_7_bits(double part) { return static_cast<std::uint8_t>(std::lround(part * 127)); }

json::value version(const Call& call)
{
    return json::object{{"version", utf8_text(call.source.service().version)}, {"protocol", protocol_number}};
}

json::value players(const Call& call)
{
    json::array all;
    for (std::size_t i = 0; i < call.source.player_count(); ++i) {
        const json::object snapshot = snapshot_object(call.source.snapshot(i));
        all.emplace_back(json::object{{"player", i},
                                      {"name", snapshot.at("name")},
                                      {"instrument", snapshot.at("instrument")},
                                      {"target", snapshot.at("target")},
                                      {"bypassed", snapshot.at("bypassed")}});
    }
    return all;
}

json::value status(const Call& call)
{
    json::array all;
    for (std::size_t i = 0; i < call.source.player_count(); ++i) all.emplace_back(snapshot_object(call.source.snapshot(i)));
    json::object result = service_object(call.source.service());
    result["protocol"] = protocol_number;
    result["players"] = std::move(all);
    return result;
}

Subscriber& connection(const Call& call)
{
    if (call.subscriber == nullptr) throw RpcError{rpc_code::not_now, "there is no connection to send anything to"};
    return *call.subscriber;
}

EventKinds events_of(const Given& given)
{
    EventKinds kinds;
    if (const auto* words = given.find("events")) {
        for (const auto& word : words->get_array()) {
            const auto found = std::ranges::find(event_words, std::string_view{word.get_string().data(), word.get_string().size()});
            kinds.add(static_cast<EventKind>(found - event_words.begin()));
        }
    }
    return kinds;
}

json::value subscribe(const Call& call)
{
    Subscription wish{player_of(call), call.given.number("rate"), events_of(call.given)};
    if (wish.events.none() && !wish.rate) wish.rate = rate_usual;
    connection(call).subscribe(wish);
    const auto* events = call.given.find("events");
    return json::object{{"player", wish.player},
                        {"rate", wish.rate ? json::value(*wish.rate) : json::value(nullptr)},
                        {"events", events != nullptr ? *events : json::value(json::array{})}};
}

json::value unsubscribe(const Call& call)
{
    connection(call).unsubscribe();
    return json::object{{"subscribed", false}};
}

json::value authenticate(const Call& call)
{
    if (!connection(call).authenticate(*call.given.text("token"))) throw RpcError{rpc_code::token_needed, "that is not the token"};
    return accepted();
}

json::value panic(const Call& call)
{
    if (call.given.has("player")) return command(call, Command::panic);
    for (std::size_t i = 0; i < call.source.player_count(); ++i) command_to(call.source, i, Command::panic);
    return accepted();
}

json::value choose_player(const Call& call)
{
    const std::size_t player = player_of(call);
    if (call.source.takes_turns(player)) return command(call, Command::choose_player, static_cast<std::uint8_t>(player));
    std::string others;
    for (std::size_t i = 0; i < call.source.player_count(); ++i)
        if (call.source.takes_turns(i)) others += (others.empty() ? "" : ", ") + std::to_string(i);
    throw RpcError{rpc_code::not_now, "player " + std::to_string(player) + " does not take turns under the hands; " +
                                          (others.empty() ? "under_hands = true under [[player]] makes players do so"
                                                          : "of these one can be chosen: " + others)};
}

json::value next_stroke(const Call& call)
{
    return command(call, call.given.text("direction") == "down" ? Command::next_down : Command::next_up);
}

json::value technique(const Call& call)
{
    const auto chosen = technique_of_word(*call.given.text("name")); // a known word
    return command(call, Command::select_technique, static_cast<std::uint8_t>(*chosen));
}

json::value contact_point(const Call& call)
{
    const auto value = call.given.number("value");
    const auto zone = call.given.text("zone");
    if (value.has_value() == zone.has_value())
        throw RpcError{rpc_code::invalid_params, "give either \"value\", 0 (fingerboard) to 1 (bridge), or \"zone\""};
    if (zone) return command(call, Command::contact_point, *zone == zones[0] ? 127 : *zone == zones[1] ? 64 : 0);
    // 64 is exactly the middle.
    return command(call, Command::contact_point, *value == 0.5 ? 64 : in_7_bits(*value));
}

json::value string(const Call& call)
{
    const auto index = static_cast<std::size_t>(std::ranges::find(strings, *call.given.text("name")) - strings.begin());
    const std::uint8_t argument = index < strings_by_number
                                      ? string_argument_by_number(static_cast<std::uint8_t>(index + 1))
                                      : string_argument_by_letter(static_cast<std::uint8_t>(index - strings_by_number));
    return on_or_off(call, Command::string_on, Command::string_off, argument);
}

TakeDesk& take_desk(const Call& call)
{
    TakeDesk* desk = call.source.takes();
    if (desk == nullptr) throw RpcError{rpc_code::not_now, "takes are not kept; see [take] in the configuration"};
    return *desk;
}

json::value take_list(const Call& call)
{
    TakeDesk& desk = take_desk(call);
    json::array takes;
    for (const TakeEntry& take : desk.list()) takes.emplace_back(json::object{{"name", utf8_text(take.name)}, {"bytes", take.bytes}});
    const std::string running = desk.running();
    return json::object{{"running", running.empty() ? json::value(nullptr) : json::value(utf8_text(running))}, {"takes", std::move(takes)}};
}

json::value reload(const Call& call)
{
    const Reloading outcome = call.source.reload();
    json::array reasons;
    for (const auto& reason : outcome.reasons) reasons.emplace_back(utf8_text(reason));
    json::array restart;
    for (const auto& key : outcome.restart) restart.emplace_back(utf8_text(key));
    return json::object{{"accepted", outcome.accepted}, {"reasons", std::move(reasons)}, {"restart", std::move(restart)}};
}

constexpr std::array<std::string_view, 2> setup_parts{"controls", "keyswitches"};
constexpr double lines_most = 100'000;

SetupDesk& setup_desk(const Call& call)
{
    SetupDesk* desk = call.source.setup();
    if (desk == nullptr) throw RpcError{rpc_code::not_now, "there is no place for a configuration: HOME is not set"};
    return *desk;
}

json::value setup_start(const Call& call)
{
    if (!setup_desk(call).start(*call.given.text("part")))
        throw RpcError{rpc_code::not_now, "a setup is running already; end it with setup_stop"};
    return accepted();
}

json::value setup_answer(const Call& call)
{
    if (!setup_desk(call).answer(std::string{*call.given.text("answer")}))
        throw RpcError{rpc_code::not_now, "nothing is being asked now; see setup_state"};
    return accepted();
}

json::value setup_state(const Call& call)
{
    const SetupState state = setup_desk(call).state(static_cast<std::size_t>(call.given.whole("from").value_or(0)));
    json::array said;
    for (const auto& line : state.said) said.emplace_back(utf8_text(line));
    return json::object{{"running", state.running},
                        {"waiting", state.waiting},
                        {"heard", utf8_text(state.heard)},
                        {"said", std::move(said)},
                        {"lines", state.lines}};
}

const std::vector<Method>& table()
{
    static const auto technique_words = all_techniques();
    constexpr std::string_view true_or_false = "true while it is wanted; true when absent";
    const Parameter on{"on", flag, false, true_or_false};
    const Parameter on_needed{"on", flag, true, "true while it is wanted"};
    const auto part = [](std::string_view meaning) { return Parameter{"value", number, true, meaning, 0, 1}; };
    static const std::vector<Method> methods{
        {"rpc.discover",
         "This description, by the OpenRPC Specification 1.2.6.",
         {},
         "document",
         R"({"type":"object"})",
         [](const Call& call) { return json::value(discovery(call.source.service().version)); }},
        {"authenticate",
         "Over TCP the first that is heard; over the Unix socket there is no need of it.",
         {{"token", ParameterKind::text, true, "the line in the service's token file"}},
         "accepted",
         accepted_schema,
         authenticate},
        {"version",
         "The program's version and the protocol's number.",
         {},
         "version",
         R"({"type":"object","required":["version","protocol"],"properties":{"version":{"type":"string"},"protocol":{"type":"integer"}}})",
         version},
        {"status",
         "The service, its ports, and a snapshot of every player.",
         {},
         "status",
         R"({"$ref":"#/components/schemas/status"})",
         status},
        {"players",
         "Who plays, from player 0.",
         {},
         "players",
         R"({"type":"array","items":{"type":"object","required":["player","name","instrument","target","bypassed"]}})",
         players},
        {"ports",
         "The ports and what they are connected to.",
         {},
         "ports",
         R"({"type":"array","items":{"$ref":"#/components/schemas/port"}})",
         [](const Call& call) { return json::value(ports_array(call.source.service())); }},
        {"subscribe",
         "Snapshots of a player, events, or both, as notifications; takes the place of an earlier subscription.",
         {{"rate", number, false, "snapshots a second; 20 when absent, none when absent beside events", rate_low, rate_high},
          {"player", whole, false, "whose snapshots, from 0; the first when absent", 0, players_most},
          {"events", words, false, "what to tell as it happens", 0, 0, event_words}},
         "subscription",
         R"({"type":"object","required":["player","rate","events"]})",
         subscribe},
        {"unsubscribe", "No more of them.", {}, "subscription", R"({"type":"object","required":["subscribed"]})", unsubscribe},
        {"next_stroke",
         "The direction of the next stroke.",
         {{"direction", word, true, "which way", 0, 0, directions}, player_row},
         "accepted",
         accepted_schema,
         next_stroke},
        {"retake",
         "The bow is lifted before the next stroke and set down anew.",
         {player_row},
         "accepted",
         accepted_schema,
         [](const Call& call) { return command(call, Command::next_retake); }},
        {"same_bow",
         "The direction stays while it is on.",
         {on_needed, player_row},
         "accepted",
         accepted_schema,
         [](const Call& call) { return on_or_off(call, Command::same_bow_on, Command::same_bow_off); }},
        {"alternate",
         "Strokes simply alternate from the next one on, or no longer.",
         {on_needed, player_row},
         "accepted",
         accepted_schema,
         [](const Call& call) { return on_or_off(call, Command::alternate_on, Command::alternate_off); }},
        {"down_bows",
         "While it is on, each stroke is a down-bow at the frog.",
         {on_needed, player_row},
         "accepted",
         accepted_schema,
         [](const Call& call) { return on_or_off(call, Command::down_bows_on, Command::down_bows_off); }},
        {"technique",
         "Chooses a technique; it stays until another choice, or read_technique.",
         {{"name", word, true, "the technique", 0, 0, technique_words}, player_row},
         "accepted",
         accepted_schema,
         technique},
        {"read_technique",
         "The technique is read from the playing again.",
         {player_row},
         "accepted",
         accepted_schema,
         [](const Call& call) { return command(call, Command::read_technique); }},
        {"contact_point",
         "Where between fingerboard and bridge the bow goes.",
         {{"value", number, false, "0 fingerboard, 0.5 ordinary, 1 bridge, in steps of a 127th", 0, 1},
          {"zone", word, false, "or by name", 0, 0, zones},
          player_row},
         "accepted",
         accepted_schema,
         contact_point},
        {"loudness",
         "The wanted loudness.",
         {part("0 to 1, in steps of a 127th"), player_row},
         "accepted",
         accepted_schema,
         [](const Call& call) { return command(call, Command::loudness, in_7_bits(*call.given.number("value"))); }},
        {"amount",
         "How far the arm's curves and choices go.",
         {part("0 to 1, in steps of a 127th"), player_row},
         "accepted",
         accepted_schema,
         [](const Call& call) { return command(call, Command::amount, in_7_bits(*call.given.number("value"))); }},
        {"bypass",
         "The arm steps out between strokes, or back in.",
         {on_needed, player_row},
         "accepted",
         accepted_schema,
         [](const Call& call) { return on_or_off(call, Command::bypass_on, Command::bypass_off); }},
        {"mute",
         "Sets the mute, or takes it off.",
         {on_needed, player_row},
         "accepted",
         accepted_schema,
         [](const Call& call) { return on_or_off(call, Command::mute_on, Command::mute_off); }},
        {"string",
         "This string, where it has the note.",
         {{"name", word, true, "by the letter of the open string, or counted from the highest", 0, 0, strings}, on, player_row},
         "accepted",
         accepted_schema,
         string},
        {"open_strings",
         "Open wherever there is an open string.",
         {on_needed, player_row},
         "accepted",
         accepted_schema,
         [](const Call& call) { return on_or_off(call, Command::open_strings_on, Command::open_strings_off); }},
        {"tap",
         "A beat is now.",
         {{"bar", flag, false, "true: a bar begins with it"}, player_row},
         "accepted",
         accepted_schema,
         [](const Call& call) { return command(call, call.given.flag("bar", false) ? Command::tap_bar : Command::tap_beat); }},
        {"panic",
         "Everything falls silent, whatever the keys say.",
         {{"player", whole, false, "which player, from 0; all when absent", 0, players_most}},
         "accepted",
         accepted_schema,
         panic},
        {"choose_player",
         "The keys go to this player from now on, where several take turns under the hands.",
         {{"player", whole, true, "which player, from 0", 0, players_most}},
         "accepted",
         accepted_schema,
         choose_player},
        {"take_start",
         "What is played from now on is a take of its own.",
         {},
         "accepted",
         accepted_schema,
         [](const Call& call) { return take_desk(call).start(), accepted(); }},
        {"take_stop",
         "The take ends now and is written; the next note begins another.",
         {},
         "accepted",
         accepted_schema,
         [](const Call& call) { return take_desk(call).stop(), accepted(); }},
        {"take_hear",
         "The last take is heard again, the arm off, then on; a take that runs ends. A key, panic or take_stop ends it.",
         {},
         "accepted",
         accepted_schema,
         [](const Call& call) { return take_desk(call).hear(), accepted(); }},
        {"take_list",
         "The takes in the folder, newest first, and the one that runs.",
         {},
         "takes",
         R"({"type":"object","required":["running","takes"],"properties":{"running":{"type":["string","null"]},"takes":{"type":"array",)"
         R"("items":{"type":"object","required":["name","bytes"],"properties":{"name":{"type":"string"},"bytes":{"type":"integer"}}}}}})",
         take_list},
        {"reload",
         "Reads the configuration again; what is wrong with it is told, and nothing changes then.",
         {},
         "outcome",
         R"({"type":"object","required":["accepted","reasons","restart"],"properties":{"accepted":{"type":"boolean"},)"
         R"("reasons":{"type":"array","items":{"type":"string"}},"restart":{"type":"array","items":{"type":"string"}}}})",
         reload},
        {"setup_start",
         "Begins the questions of `bowarmd setup`; what is played meanwhile is heard by it, and by the players as ever.",
         {{"part", word, true, "pedals and control keys, or the sampler's keyswitches", 0, 0, setup_parts}},
         "accepted",
         accepted_schema,
         setup_start},
        {"setup_answer",
         "Answers the question: empty keeps what was heard, else a word that the question names, or the text that it asks for.",
         {{"answer", ParameterKind::text, true, "as typed in a terminal, without the line end"}},
         "accepted",
         accepted_schema,
         setup_answer},
        {"setup_state",
         "What was asked and said so far, and what was heard since the last question.",
         {{"from", whole, false, "lines are given from this one on; 0 when absent", 0, lines_most}},
         "state",
         R"({"type":"object","required":["running","waiting","heard","said","lines"],"properties":{"running":{"type":"boolean"},)"
         R"("waiting":{"type":"boolean"},"heard":{"type":"string"},"said":{"type":"array","items":{"type":"string"}},)"
         R"("lines":{"type":"integer"}}})",
         setup_state},
        {"setup_stop",
         "Ends the questions; nothing is saved.",
         {},
         "accepted",
         accepted_schema,
         [](const Call& call) { return setup_desk(call).stop(), accepted(); }},
        {"log_level",
         "The least that the log tells.",
         {{"level", word, true, "from all to little", 0, 0, levels}},
         "accepted",
         accepted_schema,
         [](const Call& call) { return call.source.log_level(*call.given.text("level")), accepted(); }},
    };
    return methods;
}

json::object parameter_object(const Parameter& row)
{
    return {{"name", row.name}, {"required", row.needed}, {"description", row.meaning}, {"schema", schema_of(row)}};
}

json::object method_object(const Method& method)
{
    json::array parameters;
    for (const Parameter& row : method.parameters) parameters.emplace_back(parameter_object(row));
    return {{"name", method.name},
            {"summary", method.summary},
            {"paramStructure", "by-name"},
            {"params", std::move(parameters)},
            {"result", json::object{{"name", method.result_name}, {"schema", json::parse(method.result)}}},
            {"errors", json::array{json::object{{"code", rpc_code::invalid_params}, {"message", "Invalid params"}},
                                   json::object{{"code", rpc_code::not_now}, {"message", "Not now"}}}}};
}

constexpr std::string_view port_schema =
    R"({"type":"object","required":["role","name","state","connected","messages","dropped","note"],"properties":{"role":{"enum":["in","out"]},)"
    R"("name":{"type":"string"},"state":{"enum":["open","waiting","lost","stalled","cut"]},"connected":{"type":"array","items":{"type":"string"}},)"
    R"("messages":{"type":"integer"},"dropped":{"type":"integer"},"note":{"type":"string"}}})";
constexpr std::string_view status_schema =
    R"({"type":"object","required":["version","protocol","running_s","midi_system","take_folder","take_problem","inputs","lost_inputs",)"
    R"("latest_wake_ns","under_hands","ports","players"],"properties":{"running_s":{"type":"number"},"ports":{"type":"array","items":)"
    R"({"$ref":"#/components/schemas/port"}},"players":{"type":"array","items":{"$ref":"#/components/schemas/snapshot"}}}})";
constexpr std::string_view event_schema =
    R"({"type":"object","required":["event","number","missed"],"properties":{"event":{"type":"string"},"number":{"type":"integer"},)"
    R"("missed":{"type":"integer"},"player":{"type":"integer"},"at_ns":{"type":"integer"}}})";

} // namespace

json::value call_method(std::string_view name, const json::value* params, StatusSource& source, Subscriber* subscriber)
{
    const auto found = std::ranges::find(table(), name, &Method::name);
    if (found != table().end()) return found->run({Given{params, found->parameters}, source, subscriber});
    std::string known;
    for (const Method& method : table()) known.append(known.empty() ? "there are " : ", ").append(method.name);
    throw RpcError{rpc_code::method_not_found, std::move(known)};
}

json::object discovery(std::string_view version)
{
    json::array methods;
    for (const Method& method : table()) methods.emplace_back(method_object(method));
    json::object schemas{{"snapshot", snapshot_schema()},
                         {"port", json::parse(port_schema)},
                         {"status", json::parse(status_schema)},
                         {"event", json::parse(event_schema)}};
    return {
        {"openrpc", "1.2.6"},
        {"info", json::object{{"title", "bowarmd"},
                              {"version", utf8_text(version)},
                              {"description", "Subscribers get the notifications snapshot and event; their params are the schemas of these "
                                              "names, a snapshot's with player and missed beside."}}},
        {"methods", std::move(methods)},
        {"components", json::object{{"schemas", std::move(schemas)}}}};
}

std::string snapshot_line(StatusSource& source, std::size_t player, std::uint64_t missed)
{
    json::object params = snapshot_object(source.snapshot(player));
    params["player"] = player;
    params["missed"] = missed;
    return json_text(json::object{{"jsonrpc", "2.0"}, {"method", "snapshot"}, {"params", std::move(params)}});
}

std::string answer_line(const std::string& line, StatusSource& source)
{
    return answer_rpc(line,
                      [&](std::string_view method, const json::value* params) { return call_method(method, params, source, nullptr); });
}

} // namespace bowarm
