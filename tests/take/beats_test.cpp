#include "take/beats.hpp"

#include <doctest/doctest.h>
#include <vector>

using namespace bowarm;

namespace
{

Time ms(std::int64_t n) { return Time{} + milliseconds(n); }

Fact told(Time at, std::int32_t bar, double beat, BeatSource source)
{
    Fact fact;
    fact.kind = FactKind::note_began;
    fact.at = at;
    fact.note = 0;
    fact.place = {bar, source, beat, 1};
    return fact;
}

struct Row {
    std::int64_t ms;
    std::int32_t bar, beat;
};

void check_beats(const std::vector<Beat>& beats, const std::vector<Row>& rows)
{
    REQUIRE(beats.size() >= rows.size());
    for (std::size_t i = 0; i < rows.size(); ++i) {
        CAPTURE(i);
        CHECK(beats[i].at == ms(rows[i].ms));
        CHECK(beats[i].bar == rows[i].bar);
        CHECK(beats[i].beat == rows[i].beat);
    }
}

} // namespace

// Tempo in microseconds a quarter, the meter's unit as a power of two: RP-001.
TEST_CASE("a file's tempos and meters give each beat")
{
    Recorder take;
    take.input(tempo_input({}, 500'000));
    take.input(meter_input({}, 3, 2));
    take.input(meter_input(ms(1500), 2, 3));      // 2/8: an eighth lasts 250 ms
    take.input(tempo_input(ms(2000), 1'000'000)); // now 500 ms
    take.fact(told(ms(3000), 4, 1, BeatSource::file));
    check_beats(beats_of(take, {}),
                {{0, 1, 1}, {500, 1, 2}, {1000, 1, 3}, {1500, 2, 1}, {1750, 2, 2}, {2000, 3, 1}, {2500, 3, 2}, {3000, 4, 1}});
}

TEST_CASE("where no file tells, beats lie between the notes' places")
{
    Recorder take;
    take.fact(told(ms(100), 1, 1, BeatSource::tap));
    take.fact(told(ms(1100), 1, 3, BeatSource::tap));
    take.fact(told(ms(2100), 2, 2, BeatSource::tap)); // bars of three: 2 beats in 1000 ms
    take.fact(told(ms(2600), 2, 3, BeatSource::tap));
    check_beats(beats_of(take, milliseconds(100)), {{0, 1, 1}, {500, 1, 2}, {1000, 1, 3}, {1500, 2, 1}, {2000, 2, 2}});
}

TEST_CASE("a take without bars has no beats")
{
    Recorder take;
    take.input(tempo_input({}, 500'000));
    take.fact(told(ms(100), 0, 0, BeatSource::none));
    CHECK(beats_of(take, {}).empty());
}
