// A tune on the low strings is told from runs, repeated notes and passing arpeggios.  Common practice, no source.
#include "bow/low_tune.hpp"

#include <doctest/doctest.h>

#include <initializer_list>

using namespace bowarm;

namespace
{

constexpr int third_string = 69; // of the violin

bool tune_after(std::initializer_list<int> pitches)
{
    LowTune tune;
    for (const int pitch : pitches) tune.note(Midi7::nearest(pitch), pitch <= third_string);
    return tune.under_way();
}

} // namespace

TEST_CASE("nine low notes, four of them different, are a tune, eight are not yet")
{
    CHECK(tune_after({57, 59, 60, 62, 60, 59, 57, 55, 57}));
    CHECK(!tune_after({57, 59, 60, 62, 60, 59, 57, 55}));
}

TEST_CASE("a line that leaves the low strings has to begin anew")
{
    CHECK(!tune_after({57, 59, 60, 62, 76, 60, 59, 57, 55, 57, 59, 60}));
    CHECK(tune_after({76, 57, 59, 60, 62, 60, 59, 57, 55, 57}));
}

TEST_CASE("an accompaniment of a few repeated notes is no tune") { CHECK(!tune_after({55, 55, 55, 62, 62, 62, 57, 57, 57, 55, 55, 55})); }
