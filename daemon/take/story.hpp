// A take's facts gathered by note and by stroke, for all that tells of it: report, chart, sheet.
//   in       facts in the order in which they were told
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "player/fact.hpp"

#include <cstdint>
#include <map>
#include <optional>
#include <vector>

namespace bowarm
{

// A note with all that was said of it.
struct NoteStory {
    Fact began;
    bool heard{false};
    std::vector<Fact> parts; // in the order played
    std::optional<Time> ended;
};

struct StrokeStory {
    std::optional<Fact> began;
    std::optional<Fact> ended;
    std::vector<std::uint32_t> notes;
};

struct Story {
    std::map<std::uint32_t, NoteStory> notes;
    std::map<std::uint32_t, StrokeStory> strokes;
    std::vector<Fact> warnings;
    std::int64_t repairs{0};
    std::int64_t unmended{0};
};

Story story_of(const std::vector<Fact>& facts);

} // namespace bowarm
