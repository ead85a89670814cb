#include "take/remarks.hpp"

#include "take/take.hpp"

#include <algorithm>
#include <boost/json/parse.hpp>
#include <doctest/doctest.h>
#include <vector>

using namespace bowarm;

namespace
{

Time seconds(double s) { return {static_cast<std::int64_t>(s * 1e9)}; }

Fact note(std::uint32_t number, std::uint32_t stroke, double at, Technique technique, bool slurred = false)
{
    Fact fact;
    fact.kind = FactKind::note_began;
    fact.at = seconds(at);
    fact.note = number;
    fact.stroke = stroke;
    fact.pitch = 67;
    fact.technique = technique;
    fact.slurred = slurred;
    fact.place = {1 + static_cast<std::int32_t>(at / 2), BeatSource::file, 1, 1};
    return fact;
}

Fact ended(std::uint32_t number, double at)
{
    Fact fact;
    fact.kind = FactKind::note_ended;
    fact.note = number;
    fact.at = seconds(at);
    return fact;
}

Fact stroke(std::uint32_t number, double at, bool forced)
{
    Fact fact;
    fact.kind = FactKind::stroke_began;
    fact.stroke = number;
    fact.at = seconds(at);
    fact.forced = forced;
    return fact;
}

Fact warned(Warning warning, double at)
{
    Fact fact;
    fact.kind = FactKind::warning;
    fact.warning = warning;
    fact.at = seconds(at);
    fact.note = 0;
    return fact;
}

std::vector<std::string_view> codes(const std::vector<Fact>& facts)
{
    std::vector<std::string_view> found;
    for (const Remark& remark : remarks_of(story_of(facts))) found.push_back(remark.code);
    return found;
}

using Codes = std::vector<std::string_view>;

} // namespace

TEST_CASE("the words for severity are read as they are written")
{
    for (int i = 0; i < severity_count; ++i) CHECK(severity_of_word(severity_word(static_cast<Severity>(i))) == static_cast<Severity>(i));
    CHECK(!severity_of_word("error"));
    CHECK(Severity::note < Severity::careful);
    CHECK(Severity::careful < Severity::cannot);
}

// Common practice, no source: what a hand or an instrument has not got is refused, want of hair is a matter of dividing.
TEST_CASE("what nobody can play is told from what needs care")
{
    struct Row {
        Warning warning;
        Severity expected;
    };
    constexpr Row rows[] = {
        {Warning::out_of_range, Severity::cannot},
        {Warning::not_playable_together, Severity::cannot},
        {Warning::hair_runs_out, Severity::careful},
        {Warning::tremolo_too_long, Severity::careful},
        {Warning::col_legno, Severity::note},
        {Warning::change_too_quick, Severity::cannot},
        {Warning::off_string_too_fast, Severity::cannot},
        {Warning::off_string_too_slow, Severity::careful},
    };
    for (const Row& row : rows) {
        const auto remarks = remarks_of(story_of({warned(row.warning, 1)}));
        REQUIRE(remarks.size() == 1);
        CHECK(remarks[0].severity == row.expected);
        CHECK(!remarks[0].reason.empty());
        CHECK(!remarks[0].remedy.empty());
    }
}

TEST_CASE("a slur that outlasts its bow is named once, with where to divide it")
{
    const std::vector<Fact> facts{stroke(0, 0, false), note(0, 0, 0, Technique::legato),       note(1, 0, 2, Technique::legato, true),
                                  stroke(1, 3, true),  note(2, 1, 4, Technique::legato, true), stroke(2, 6, true),
                                  ended(2, 8)};
    const auto remarks = remarks_of(story_of(facts));
    REQUIRE(remarks.size() == 1);
    CHECK(remarks[0].code == "slur-too-long");
    CHECK(remarks[0].at == seconds(0));
    CHECK(remarks[0].note == 0);
    CHECK(remarks[0].reason == "the slur of 3 notes lasts 8 s, and at this loudness a bow lasts 3 s");
    CHECK(remarks[0].remedy.find("at bar 2 beat 1") != std::string::npos); // the note at 2 s, the last within the bow
}

TEST_CASE("a slur that its bow carries, and a held note that outlasts it, are no slur too long")
{
    CHECK(codes({stroke(0, 0, false), note(0, 0, 0, Technique::legato), note(1, 0, 1, Technique::legato, true), ended(1, 2),
                 stroke(1, 2.5, true)})
              .empty());
    CHECK(codes({stroke(0, 0, false), note(0, 0, 0, Technique::detache), stroke(1, 3, true), ended(0, 6)}).empty());
}

TEST_CASE("kinds of stroke that change again and again within seconds are remarked, slow changes are not")
{
    std::vector<Fact> quick, slow;
    for (std::uint32_t i = 0; i < 6; ++i) {
        const Technique technique = i % 2 == 0 ? Technique::detache : Technique::spiccato;
        quick.push_back(note(i, i, 0.5 * i, technique));
        slow.push_back(note(i, i, 3.0 * i, technique));
    }
    CHECK(codes(quick) == Codes{"strokes-change-too-often"});
    CHECK(codes(slow).empty());
}

TEST_CASE("remarks come by time")
{
    CHECK(codes({warned(Warning::col_legno, 3), warned(Warning::out_of_range, 1)}) == Codes{"out-of-range", "col-legno"});
}

// RFC 4180: fields with commas are quoted, lines end in CR LF.
TEST_CASE("the rows of a report are one for each warning, in the same words as JSON")
{
    Recorder take;
    take.fact(note(0, 0, 0, Technique::detache));
    take.fact(warned(Warning::col_legno, 1));
    const ReportHead head{"violin", "example", "live", {}};
    const std::string csv = report_csv(take, head);
    CHECK(csv.starts_with("onset_s,bar,beat,severity,code,reason,remedy,note,pitch\r\n"));
    CHECK(csv.find("1,,,note,col-legno,\"the wood strikes or draws the string, which good bows do not like\",") != std::string::npos);
    CHECK(csv.ends_with(",0,G4\r\n"));
    CHECK(std::count(csv.begin(), csv.end(), '\n') == 2);

    const auto report = boost::json::parse(report_json(take, head)).as_object();
    const auto& warning = report.at("warnings").as_array().at(0).as_object();
    CHECK(warning.at("severity") == "note");
    CHECK(warning.at("reason") == "the wood strikes or draws the string, which good bows do not like");
    CHECK(report.at("totals").as_object().at("severities").as_object().at("note") == 1);

    CHECK(report_plain(take, head).find("[note] col-legno") != std::string::npos);
}
