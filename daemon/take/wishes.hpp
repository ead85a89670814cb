// What a person asks of single strokes, as a small text: one wish a line, by bar and beat or by the number of a note.
//       12:3 up                bar 12, beat 3; beats may have decimals: 30:2.5
//       20:1 retake down       lift, set down anew, and go down
//       note 57 down           the note of that index in the report, from 0
//       14:1 same-bow          hooked onto the stroke before
//   A # begins a comment; empty lines mean nothing.
//   in       any bytes
//   out      the wishes in the order of their lines, or the first problem
//   thread   any, pure.  Real-time safe: no, it allocates.
#pragma once

#include "base/technique.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace bowarm
{

struct Wish {
    std::size_t line{0};               // from 1
    std::optional<std::uint32_t> note; // where it is known it tells; empty: bar and beat do
    std::int32_t bar{0};               // from 1; 0: the wish was made by the note's number alone
    double beat{0};                    // from 1, in beats of the meter
    std::optional<Direction> direction;
    bool retake{false};
    bool same_bow{false}; // alone, without the others
};

struct WishProblem {
    std::size_t line{0};   // from 1
    std::size_t column{0}; // from 1, in bytes
    std::string what;
    std::string remedy;
};

std::variant<std::vector<Wish>, WishProblem> read_wishes(std::string_view text);

// The wish as it could stand in the file.
std::string wish_text(const Wish& wish);

} // namespace bowarm
