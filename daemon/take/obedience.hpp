// Which strokes wishes mean, and what became of them.
//   in       wishes; for their meaning a live pass over the take without them, for what became of them the final one
//   out      the strokes for Player::obey; for each wish: obeyed, or why not, in words
//   thread   any, pure.  Real-time safe: no, it allocates.
//   Errors   two wishes that contradict each other are a Contradiction; nothing is obeyed by halves.
#pragma once

#include "take/take.hpp"
#include "take/wishes.hpp"

#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace bowarm
{

struct Contradiction {
    std::size_t line{0};       // of the later wish
    std::size_t first_line{0}; // of the wish that it contradicts
};

struct Meant {
    // For each wish the note that begins its stroke, or why there is none.
    std::vector<std::variant<std::uint32_t, std::string>> strokes;
    std::vector<WishedStroke> wished; // in the order of their notes
};

// A place names the note that is nearest to it, within a quarter of a beat; of equally near ones the first that begins a stroke.
//   usual_beats: in the bar where no time signature is heard (0: unknown).
//   first_wins: of two wishes that contradict each other the later one is refused, instead of both.
std::variant<Meant, Contradiction> strokes_meant(std::span<const Wish> wishes, const Recorder& live, std::uint8_t usual_beats,
                                                 bool first_wins = false);

std::vector<WishOutcome> outcomes_of(const Instrument& instrument, std::span<const Wish> wishes, const Meant& meant, const Recorder& bowed);

} // namespace bowarm
