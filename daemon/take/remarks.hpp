// What a real player would say to a take: every warning that was told, and what only the whole take shows.
//   slur-too-long            a slur outlasts its bow; once for the slur, beside the changes of bow inside it
//   strokes-change-too-often kinds of stroke that the hand holds the bow differently for, more changes than it has time for
//   thread   any, pure.  Real-time safe: no, it allocates.  Errors: none.
#pragma once

#include "take/story.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace bowarm
{

enum class Severity : std::uint8_t {
    note,    // good to know
    careful, // a player would have to give way somewhere
    cannot,  // nobody can play it as it stands
};
inline constexpr int severity_count = 3;

std::string_view severity_word(Severity severity) noexcept;
std::optional<Severity> severity_of_word(std::string_view word) noexcept;

struct Remark {
    Time at;
    BarPlace place;
    Severity severity{Severity::note};
    std::string_view code; // data, never changed once published
    std::string reason;
    std::string remedy;
    std::uint32_t note{no_number};
    std::uint8_t desk{0};
};

// By time.
std::vector<Remark> remarks_of(const Story& story);

// "bar 3 beat 2.5"; empty where the bar is not known.
std::string place_words(const BarPlace& place);

} // namespace bowarm
