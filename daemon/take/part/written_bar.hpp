// One bar as it stands on the page: notes, rests, ties, beams.
//   in       segments in order, bar after bar
//   out      what fills each bar, with nothing left over
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/part/music.hpp"
#include "take/part/note_values.hpp"

#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace bowarm::part
{

struct Written {
    NoteValue value;
    std::optional<std::size_t> segment; // empty: a rest
    bool first{true}, last{true};       // of the pieces of its segment
    bool grace{false};
    std::vector<std::string_view> beams{}; // MusicXML's words, from the first beam on
};

struct WrittenBar {
    std::vector<Written> written; // empty: the whole bar rests
};

// Walks forward through the segments.
class BarFiller
{
public:
    BarFiller(std::span<const Segment> segments, std::span<const Division> tuplets) : segments_(segments), tuplets_(tuplets) {}
    WrittenBar fill(const Bar& bar);

private:
    void put(WrittenBar& out, Ticks from, Ticks to, const Bar& bar, std::optional<std::size_t> segment);

    std::span<const Segment> segments_;
    std::span<const Division> tuplets_;
    std::size_t next_{0};
};

} // namespace bowarm::part
