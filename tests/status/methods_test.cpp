// What the status socket answers, field by field as PROTOCOL.md promises it.
#include "fake_source.hpp"
#include "status/json_text.hpp"
#include "status/methods.hpp"

#include <boost/json/parse.hpp>
#include <cmath>
#include <doctest/doctest.h>
#include <limits>

using namespace bowarm;
using namespace bowarm::test;
namespace json = boost::json;

namespace
{

json::object ask(StatusSource& source, const std::string& method, const std::string& params = "")
{
    const auto answer =
        answer_line(R"({"jsonrpc":"2.0","id":1,"method":")" + method + '"' + (params.empty() ? "" : ",\"params\":" + params) + "}", source);
    return json::parse(answer).as_object();
}

int code_of(const json::object& answer) { return static_cast<int>(answer.at("error").as_object().at("code").as_int64()); }

} // namespace

TEST_CASE("version tells the program and the protocol")
{
    FakeSource source;
    const auto result = ask(source, "version").at("result").as_object();
    CHECK(result.at("version").as_string() == "0.1.0");
    CHECK(result.at("protocol").as_int64() == 1);
}

TEST_CASE("status tells of the service and of every player")
{
    FakeSource source;
    const auto result = ask(source, "status").at("result").as_object();
    CHECK(result.at("midi_system").as_string() == "none");
    CHECK(result.at("running_s").to_number<double>() == doctest::Approx(12.5));
    CHECK(result.at("ports").as_array().at(0).as_object().at("connected").as_array().at(0).as_string() == "some keyboard");
    CHECK(result.at("players").as_array().size() == 1);
}

TEST_CASE("a snapshot has its quantities with their units in the names")
{
    const auto s = json::parse(snapshot_json(a_bow_on_the_g_string())).as_object();
    const auto number = [&](const char* name) { return s.at(name).to_number<double>(); };
    CHECK(s.at("at_ns").as_int64() == 1'500'000'000);
    CHECK(s.at("name").as_string() == "first desk");
    CHECK(s.at("technique").as_string() == "detache");
    CHECK(s.at("direction").as_string() == "up");
    CHECK(s.at("string").as_string() == "G");
    CHECK(s.at("pitch").as_int64() == 59);
    CHECK(number("hair") == doctest::Approx(0.62));
    CHECK(number("hair_left_s") == doctest::Approx(1.3));
    CHECK(number("speed_m_s") == doctest::Approx(0.31));
    CHECK(number("force_n") == doctest::Approx(0.9));
    CHECK(number("force_low_n") == doctest::Approx(0.2));
    CHECK(number("force_high_n") == doctest::Approx(1.7));
    CHECK(number("beta") == doctest::Approx(0.11));
    CHECK(number("loudness") == doctest::Approx(0.5));
    CHECK(s.at("bar").as_int64() == 4);
    CHECK(s.at("beat_from").as_string() == "clock");
    CHECK(number("beat") == doctest::Approx(2.5));
    CHECK(s.at("reasons").as_array().size() == 2); // "none" is no reason
    const auto& warning = s.at("warnings").as_array().at(0).as_object();
    CHECK(warning.at("code").as_string() == "hair-runs-out");
    CHECK(!warning.at("text").as_string().empty());
    CHECK(warning.at("bar").as_int64() == 3);
    CHECK(s.at("warnings").as_array().size() == 1);
}

TEST_CASE("what is not known is null and not a number that means something else")
{
    Snapshot quiet;
    const auto s = json::parse(snapshot_json(quiet)).as_object();
    for (const auto* name : {"direction", "string", "pitch", "hair_left_s", "bar", "beat"}) {
        CAPTURE(name);
        CHECK(s.at(name).is_null());
    }
    auto plucked = a_bow_on_the_g_string();
    plucked.technique = Technique::pizzicato;
    CHECK(json::parse(snapshot_json(plucked)).as_object().at("direction").is_null());
    auto still = a_bow_on_the_g_string();
    still.hair_left = Seconds{std::numeric_limits<double>::infinity()};
    still.force = Newtons{std::nan("")};
    const auto odd = json::parse(snapshot_json(still)).as_object(); // parse throws on what is no JSON
    CHECK(odd.at("hair_left_s").is_null());
    CHECK(odd.at("force_n").is_null());
}

TEST_CASE("names that are no UTF-8 still give valid JSON")
{
    FakeSource source;
    source.port_name = "caf\xE9 \xE2\x82";
    source.shown.name.fill('\xC3'); // as when a long name was cut inside a letter, and without its end
    const auto result = ask(source, "status").at("result").as_object();
    CHECK(result.at("ports").as_array().at(0).as_object().at("connected").as_array().at(0).as_string() == "caf\uFFFD \uFFFD\uFFFD");
    CHECK(utf8_text("d\xC3\xA9tach\xC3\xA9") == "d\xC3\xA9tach\xC3\xA9");
    CHECK(utf8_text("\xF0\x9F\x8E\xBB") == "\xF0\x9F\x8E\xBB");
    CHECK(utf8_text("\xED\xA0\x80") == "\uFFFD\uFFFD\uFFFD"); // a surrogate is no character (RFC 3629, section 3)
}

TEST_CASE("numbers are written as a person writes them")
{
    CHECK(json_text(json_number(0.31)) == "0.31");
    CHECK(json_text(json_number(-0.0)) == "0");
    CHECK(json_text(json_number(1.0 / 3)) == "0.333333");
    CHECK(json_text(json_number(1e300 * 1e10)) == "null");
}

TEST_CASE("a beat and a bar line can be tapped over the socket")
{
    FakeSource source;
    CHECK(ask(source, "tap").at("result").as_object().at("accepted").as_bool());
    CHECK((source.last_command == Command::tap_beat));
    CHECK(answer_line(R"({"jsonrpc":"2.0","method":"tap","params":{"bar":true}})", source).empty());
    CHECK((source.last_command == Command::tap_bar));
    CHECK(answer_line(R"({"jsonrpc":"2.0","id":1,"method":"tap","params":{"bar":1}})", source).find("-32602") != std::string::npos);
}

TEST_CASE("panic reaches the engine or says why not")
{
    FakeSource source;
    CHECK(ask(source, "panic").at("result").as_object().at("accepted").as_bool());
    CHECK(source.panics == 1);
    CHECK(answer_line(R"({"jsonrpc":"2.0","method":"panic"})", source).empty());
    CHECK(source.panics == 2);
    source.queue_is_full = true;
    const int code = code_of(ask(source, "panic"));
    CHECK(code <= -32000); // section 5.1: -32000 to -32099 are the server's own
    CHECK(code >= -32099);
}

TEST_CASE("alternate says on or off, and nothing else is taken")
{
    FakeSource source;
    CHECK(ask(source, "alternate", R"({"on":true})").at("result").as_object().at("accepted").as_bool());
    CHECK(source.alternating);
    ask(source, "alternate", R"({"on":false})");
    CHECK(!source.alternating);
    for (const auto* params : {"", R"({})", R"({"on":1})", R"({"on":"yes"})", R"({"off":true})"}) {
        CAPTURE(params);
        CHECK(code_of(ask(source, "alternate", params)) == -32602);
    }
}

TEST_CASE("parameters that cannot be meant are refused")
{
    FakeSource source;
    for (const auto* params : {R"({"rate":0})", R"({"rate":101})", R"({"rate":"20"})", R"({"rate":1e400})", R"({"rate":null})",
                               R"({"rates":20})", R"([20])", R"({"player":1})", R"({"player":-1})", R"({"player":0.0})"}) {
        CAPTURE(params);
        CHECK(code_of(ask(source, "subscribe", params)) == -32602);
    }
    CHECK(code_of(ask(source, "status", R"({"x":1})")) == -32602);
    CHECK(ask(source, "version", "[]").if_contains("result") != nullptr);
    CHECK(code_of(ask(source, "no such method")) == -32601);
    CHECK(code_of(ask(source, "subscribe")) == -32000); // a line alone has no connection
}

TEST_CASE("what a control key can do, the socket can do")
{
    struct Row {
        const char* method;
        const char* params;
        Command command;
        int argument;
    };
    constexpr Row rows[] = {
        {"next_stroke", R"({"direction":"down"})", Command::next_down, 0},
        {"next_stroke", R"({"direction":"up"})", Command::next_up, 0},
        {"retake", "", Command::next_retake, 0},
        {"same_bow", R"({"on":true})", Command::same_bow_on, 0},
        {"same_bow", R"({"on":false})", Command::same_bow_off, 0},
        {"down_bows", R"({"on":true})", Command::down_bows_on, 0},
        {"technique", R"({"name":"spiccato"})", Command::select_technique, static_cast<int>(Technique::spiccato)},
        {"read_technique", "", Command::read_technique, 0},
        {"contact_point", R"({"value":0})", Command::contact_point, 0},
        {"contact_point", R"({"value":0.5})", Command::contact_point, 64}, // the middle of a 7-bit controller (MIDI 1.0)
        {"contact_point", R"({"value":1})", Command::contact_point, 127},
        {"contact_point", R"({"zone":"sul-tasto"})", Command::contact_point, 0},
        {"loudness", R"({"value":1})", Command::loudness, 127},
        {"amount", R"({"value":0})", Command::amount, 0},
        {"bypass", R"({"on":true})", Command::bypass_on, 0},
        {"mute", R"({"on":false})", Command::mute_off, 0},
        {"string", R"({"name":"4"})", Command::string_on, string_argument_by_number(4)},
        {"string", R"({"name":"G"})", Command::string_on, string_argument_by_letter(7)},
        {"string", R"({"name":"G","on":false})", Command::string_off, string_argument_by_letter(7)},
        {"open_strings", R"({"on":true})", Command::open_strings_on, 0},
        {"panic", R"({"player":0})", Command::panic, 0},
    };
    for (const auto& row : rows) {
        FakeSource source;
        CAPTURE(row.method);
        CAPTURE(row.params);
        CHECK(ask(source, row.method, row.params).at("result").as_object().at("accepted").as_bool());
        CHECK((source.last_command == row.command));
        CHECK(source.last_argument == row.argument);
        source.queue_is_full = true;
        CHECK(code_of(ask(source, row.method, row.params)) == -32000);
    }
}

TEST_CASE("a control that cannot be meant is refused")
{
    FakeSource source;
    constexpr std::pair<const char*, const char*> rows[] = {
        {"next_stroke", ""},
        {"next_stroke", R"({"direction":"left"})"},
        {"technique", R"({"name":"spicato"})"},
        {"contact_point", ""},
        {"contact_point", R"({"value":0.5,"zone":"ordinary"})"},
        {"loudness", R"({"value":1.01})"},
        {"loudness", R"({"value":-0.01})"},
        {"string", R"({"name":"7"})"},
        {"mute", ""},
        {"panic", R"({"player":1})"},
        {"subscribe", R"({"events":["notes"]})"},
        {"subscribe", R"({"events":"note"})"},
        {"log_level", R"({"level":"loud"})"},
    };
    for (const auto& [method, params] : rows) {
        CAPTURE(method);
        CAPTURE(params);
        CHECK(code_of(ask(source, method, params)) == -32602);
    }
}

TEST_CASE("takes are listed, begun and ended, or it is said that none are kept")
{
    FakeSource source;
    const auto takes = ask(source, "take_list").at("result").as_object();
    CHECK(takes.at("running").as_string() == "take-2");
    CHECK(takes.at("takes").as_array().at(0).as_object().at("name").as_string() == "take-1");
    ask(source, "take_start");
    ask(source, "take_stop");
    ask(source, "take_hear");
    CHECK(source.desk.heard == 1);
    CHECK(source.desk.started == 1);
    CHECK(source.desk.stopped == 1);
    source.takes_are_kept = false;
    for (const auto* method : {"take_list", "take_start", "take_stop", "take_hear"}) CHECK(code_of(ask(source, method)) == -32000);
}

TEST_CASE("a player that takes no turns under the hands is not chosen, and the refusal says so")
{
    FakeSource source;
    CHECK(ask(source, "choose_player", R"({"player":0})").at("result").as_object().at("accepted").as_bool());
    CHECK(source.last_command == Command::choose_player);
    source.last_command = Command::panic;
    source.turns_are_taken = false;
    const auto answer = ask(source, "choose_player", R"({"player":0})");
    CHECK(code_of(answer) == -32000);
    CHECK(answer.at("error").as_object().at("data").as_string().find("player 0 does not take turns") != json::string::npos);
    CHECK(source.last_command == Command::panic); // nothing was handed on
}

TEST_CASE("a setup is begun, answered, read from a line on, and stopped")
{
    FakeSource source;
    CHECK(code_of(ask(source, "setup_answer", R"({"answer":""})")) == -32000); // nothing is asked
    CHECK(code_of(ask(source, "setup_start", R"({"part":"strings"})")) == -32602);
    ask(source, "setup_start", R"({"part":"keyswitches"})");
    CHECK(source.questions.asked == "keyswitches");
    CHECK(code_of(ask(source, "setup_start", R"({"part":"controls"})")) == -32000); // one is running
    ask(source, "setup_answer", R"({"answer":"again"})");
    CHECK(source.questions.answered == "again");
    const auto state = ask(source, "setup_state").at("result").as_object();
    CHECK(state.at("running").as_bool());
    CHECK(state.at("waiting").as_bool());
    CHECK(state.at("heard").as_string() == "cc 11");
    CHECK(state.at("said").as_array().at(0).as_string() == "LOUDNESS");
    CHECK(state.at("lines").as_int64() == 1);
    CHECK(ask(source, "setup_state", R"({"from":1})").at("result").as_object().at("said").as_array().empty());
    ask(source, "setup_stop");
    CHECK_FALSE(source.questions.running);
    source.setup_is_possible = false;
    CHECK(code_of(ask(source, "setup_start", R"({"part":"controls"})")) == -32000);
}

TEST_CASE("a refused reload gives its reasons, and the log's level is passed on")
{
    FakeSource source;
    const auto outcome = ask(source, "reload").at("result").as_object();
    CHECK(!outcome.at("accepted").as_bool());
    CHECK(outcome.at("reasons").as_array().at(0).as_string() == "bowarm.toml:3: player: no such key");
    ask(source, "log_level", R"({"level":"debug"})");
    CHECK(source.last_level == "debug");
}

// That the document is OpenRPC is for tests/outside/quick_openrpc.py; here, that it tells of what is there.
TEST_CASE("every method that is described can be called, and the snapshot has every field described")
{
    FakeSource source;
    const auto document = ask(source, "rpc.discover").at("result").as_object();
    for (const auto& method : document.at("methods").as_array()) {
        const auto name = std::string{method.as_object().at("name").as_string().c_str()};
        CAPTURE(name);
        const auto answer = ask(source, name);
        if (answer.if_contains("error") != nullptr) CHECK(code_of(answer) != -32601);
    }
    const auto& schema = document.at("components").as_object().at("schemas").as_object().at("snapshot").as_object();
    const auto snapshot = json::parse(snapshot_json(a_bow_on_the_g_string())).as_object();
    CHECK(schema.at("properties").as_object().size() == snapshot.size());
    for (const auto& field : snapshot) CHECK(schema.at("properties").as_object().if_contains(field.key()) != nullptr);
}
