#include "take/take.hpp"

#include <boost/json/parse.hpp>
#include <boost/json/value_to.hpp>
#include <doctest/doctest.h>
#include <limits>
#include <set>

using namespace bowarm;
namespace json = boost::json;

namespace
{

const StringData violin[] = {{Midi7::nearest(55), {}}, {Midi7::nearest(62), {}}, {Midi7::nearest(69), {}}, {Midi7::nearest(76), {}}};

std::string text_of(const Recorder& take) { return report_json(take, {"violin", "example", "live", violin}); }

// The parser refuses NaN, infinities and anything that is not strict JSON.
json::object report_of(const Recorder& take) { return json::parse(text_of(take)).as_object(); }

Time seconds(double s) { return {static_cast<std::int64_t>(s * 1e9)}; }

Fact note_began(std::uint32_t note, std::uint32_t stroke, double at)
{
    Fact fact;
    fact.kind = FactKind::note_began;
    fact.at = seconds(at);
    fact.note = note;
    fact.stroke = stroke;
    fact.pitch = 67;
    fact.velocity = 80;
    fact.string = 1;
    fact.read = Family::separate;
    return fact;
}

Fact part_ended(std::uint32_t note, std::uint32_t stroke, double from, double to, Direction direction)
{
    Fact fact;
    fact.kind = FactKind::part_ended;
    fact.note = note;
    fact.stroke = stroke;
    fact.began = seconds(from);
    fact.at = seconds(to);
    fact.direction = direction;
    fact.string = 1;
    fact.hair_from = HairFraction{0.1};
    fact.hair_to = HairFraction{0.41};
    fact.motion.speed = MetresPerSecond{0.31004};
    fact.motion.force = Newtons{0.62};
    fact.motion.beta = Beta{0.11};
    fact.motion.verdict = ForceVerdict::inside;
    return fact;
}

Fact of_note(FactKind kind, std::uint32_t note, double at)
{
    Fact fact;
    fact.kind = kind;
    fact.note = note;
    fact.at = seconds(at);
    return fact;
}

Fact stroke_began(std::uint32_t stroke, double at, Direction direction)
{
    Fact fact;
    fact.kind = FactKind::stroke_began;
    fact.stroke = stroke;
    fact.at = seconds(at);
    fact.direction = direction;
    fact.reasons = {Reason::strong_beat, Reason::alternates, Reason::none};
    return fact;
}

} // namespace

TEST_CASE("an empty take gives a whole report of nothing")
{
    const json::object report = report_of(Recorder{});
    CHECK(report.at("format").as_string() == "bowarm-report");
    CHECK(report.at("version").as_int64() == 1);
    CHECK(report.at("notes").as_array().empty());
    CHECK(report.at("strokes").as_array().empty());
    CHECK(report.at("warnings").as_array().empty());
    CHECK(report.at("totals").at("notes").to_number<int>() == 0);
    CHECK(report.at("totals").at("schelleng").at("inside").to_number<int>() == 0);
}

TEST_CASE("a note has the fields that tools read, and its extremes")
{
    Recorder take;
    take.fact(stroke_began(0, 0, Direction::down));
    take.fact(note_began(0, 0, 0));
    take.fact(part_ended(0, 0, 0, 0.45, Direction::down));
    take.fact(of_note(FactKind::note_ended, 0, 0.48));
    const json::object report = report_of(take);
    const json::object expect =
        json::parse(R"({"index":0,"onset_s":0.0,"end_s":0.48,"pitch":67,"velocity":80,"technique":"detache","read":"separate","bow":"down",
        "stroke":0,"hair_from":0.10,"hair_to":0.41,"string":"D","stopped":null,"position":null,"speed_m_s":0.31,"force_n":0.62,"beta":0.11,
        "schelleng":"inside","retake":false,"hooked":false,"zone":"ordinary","muted":false})")
            .as_object();
    const json::object& note = report.at("notes").at(0).as_object();
    REQUIRE(note.size() == expect.size() + 1);
    const json::object& extremes = note.at("extremes").as_object();
    CHECK(extremes.at("force_n").as_array().size() == 2);
    CHECK(extremes.at("speed_m_s").at(0).to_number<double>() <= extremes.at("speed_m_s").at(1).to_number<double>());
    for (const auto& member : expect) {
        CAPTURE(std::string(member.key()));
        REQUIRE(note.contains(member.key()));
        const json::value& found = note.at(member.key());
        if (member.value().is_number())
            CHECK(found.to_number<double>() == member.value().to_number<double>());
        else
            CHECK(found == member.value());
    }
    CHECK(report.at("totals").at("schelleng").at("inside").to_number<int>() == 1);
    const json::object& stroke = report.at("strokes").at(0).as_object();
    CHECK(stroke.at("notes") == json::value(json::array{0}));
    CHECK(stroke.at("reasons").as_array().size() == 2);
}

TEST_CASE("a bow change inside a note shows as segments, the note keeping the numbers of its first stroke")
{
    Recorder take;
    take.fact(stroke_began(4, 1, Direction::up));
    take.fact(note_began(7, 4, 1));
    take.fact(part_ended(7, 4, 1, 3, Direction::up));
    Fact forced = stroke_began(5, 3, Direction::down);
    forced.forced = true;
    take.fact(forced);
    Fact second = part_ended(7, 5, 3, 4, Direction::down);
    second.motion.verdict = ForceVerdict::not_judged;
    second.technique = Technique::tremolo;
    take.fact(second);
    take.fact(of_note(FactKind::note_ended, 7, 4));
    const json::object report = report_of(take);
    const json::object& note = report.at("notes").at(0).as_object();
    CHECK(note.at("bow").as_string() == "up");
    CHECK(note.at("stroke").to_number<int>() == 4);
    CHECK(note.at("end_s").to_number<double>() == 4);
    const json::array& segments = note.at("segments").as_array();
    REQUIRE(segments.size() == 2);
    CHECK(segments[0].at("end_s").to_number<double>() == 3);
    CHECK(segments[1].at("bow").as_string() == "down");
    CHECK(segments[1].at("stroke").to_number<int>() == 5);
    CHECK(segments[1].at("schelleng").is_null());
    CHECK(segments[0].at("technique").as_string() == "detache");
    CHECK(segments[1].at("technique").as_string() == "tremolo");
    CHECK(segments[1].as_object().size() == note.size() - 1);
    CHECK(report.at("totals").at("forced_changes").to_number<int>() == 1);
}

TEST_CASE("a plucked note has no bow, and a note cut off by the end of the take ends there")
{
    Recorder take;
    Fact plucked = note_began(0, no_number, 0.5);
    plucked.technique = Technique::pizzicato;
    plucked.plucked = true;
    take.fact(plucked);
    take.fact(of_note(FactKind::repaired, 0, 0.6));
    take.fact(note_began(1, 0, 1));
    take.input(midi_input(seconds(2), Source{0}, {{0xB0, 11, 0}, 3}));
    const json::object report = report_of(take);
    const json::object& first = report.at("notes").at(0).as_object();
    CHECK(first.at("bow").is_null());
    CHECK(first.at("stroke").is_null());
    CHECK(first.at("technique").as_string() == "pizzicato");
    const json::object& second = report.at("notes").at(1).as_object();
    CHECK(second.at("end_s").to_number<double>() == 2);
    CHECK(second.at("speed_m_s").is_null());
    CHECK(report.at("totals").at("repairs").to_number<int>() == 1);
    CHECK(report.at("totals").at("seconds").to_number<double>() == 2);
}

TEST_CASE("warnings say where, what and what to do")
{
    Recorder take;
    Fact warning;
    warning.kind = FactKind::warning;
    warning.warning = Warning::hair_runs_out;
    warning.at = seconds(2.5);
    warning.place = {3, BeatSource::file, 2.5, 0.9};
    warning.number = 4.129;
    warning.note = 12;
    take.fact(warning);
    warning.place = {};
    take.fact(warning);
    const json::array warnings = report_of(take).at("warnings").as_array();
    CHECK(warnings[0].at("code").as_string() == "hair-runs-out");
    CHECK(warnings[0].at("onset_s").to_number<double>() == 2.5);
    CHECK(warnings[0].at("bar").to_number<int>() == 3);
    CHECK(warnings[0].at("beat").to_number<double>() == 2.5);
    CHECK(warnings[0].at("text").as_string().find("4.13 s") != json::string::npos);
    CHECK(warnings[1].at("bar").is_null());
}

TEST_CASE("wishes and regret are told when there are any")
{
    const Recorder take;
    const json::object without = report_of(take);
    CHECK(!without.contains("wishes"));
    CHECK(without.at("totals").at("regret").is_null());
    const WishOutcome outcomes[] = {{3, "12:3 up", ""}, {4, "20:1 retake", "the rest before it is too short by 0.12 s"}};
    ReportHead head{"violin", "example", "live", violin};
    head.regret = Regret{1.25, 4};
    head.wishes = outcomes;
    const json::object report = json::parse(report_json(take, head)).as_object();
    CHECK(report.at("wishes").at(0) == json::parse(R"({"line":3,"wish":"12:3 up","obeyed":true,"reason":null})"));
    CHECK(report.at("wishes").at(1).at("obeyed") == json::value(false));
    CHECK(report.at("wishes").at(1).at("reason").as_string() == outcomes[1].refused);
    CHECK(report.at("totals").at("regret").to_number<double>() == 1.25);
    CHECK(report.at("totals").at("regret_strokes").to_number<int>() == 4);
}

TEST_CASE("numbers are plain decimals, and what is no number is null")
{
    Recorder take;
    take.fact(note_began(0, 0, 1.0 / 3));
    Fact part = part_ended(0, 0, 1.0 / 3, 1, Direction::down);
    part.motion.force = Newtons{std::numeric_limits<double>::quiet_NaN()};
    part.motion.speed = MetresPerSecond{std::numeric_limits<double>::infinity()};
    part.hair_from = HairFraction{0.00012};
    take.fact(part);
    const std::string text = text_of(take);
    CHECK(text.find("\"onset_s\":0.333333,") != std::string::npos);
    CHECK(text.find("\"hair_from\":0.0001,") != std::string::npos);
    CHECK(text.find("\"force_n\":null") != std::string::npos);
    CHECK(text.find("\"speed_m_s\":null") != std::string::npos);
    CHECK(text.find("nan") == std::string::npos);
    CHECK(text.back() == '\n');
    CHECK_NOTHROW(json::parse(text));
}

TEST_CASE("times count from the origin of the take")
{
    Recorder take;
    take.begin_at(seconds(100));
    take.fact(note_began(0, 0, 101.5));
    take.fact(of_note(FactKind::note_ended, 0, 102));
    const json::object report = report_of(take);
    CHECK(report.at("notes").at(0).at("onset_s").to_number<double>() == 1.5);
    CHECK(report.at("totals").at("seconds").to_number<double>() == 2);
}
