// What a person may have meant by a word that is not known.
//   thread   any, pure.  Real-time safe: no.  Errors: none.
#pragma once

#include <span>
#include <string>
#include <string_view>

namespace bowarm
{

// Fewest single letters put in, left out or exchanged that turn one into the other
// (source: V. Levenshtein, Soviet Physics Doklady 10, 1966), counted in bytes.
std::size_t edit_distance(std::string_view a, std::string_view b);

// The known word nearest to the one given; empty when none is near enough to be meant (more than a third of its letters differ).
std::string_view nearest_word(std::string_view given, std::span<const std::string_view> known);

// "did you mean 'x'?" when one is near, else "known: a, b, c".
std::string suggestion(std::string_view given, std::span<const std::string_view> known);

// A word for a message: at most 60 bytes, on one line, cut between letters; quotes are the caller's.
std::string shown(std::string_view text);

} // namespace bowarm
