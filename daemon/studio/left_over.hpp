// What a crash left behind, made into takes.
//   gather: before any thread runs, since reading a configuration needs a child process; finishing takes time and is done later.
//   thread   said above.  Real-time safe: no.
//   Errors   finish_left_over_take: std::system_error; std::runtime_error in words.
#pragma once

#include "studio/configuration.hpp"
#include "studio/journal_writer.hpp"
#include "take/replayed.hpp"

#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace bowarm
{

struct LeftOverTake {
    std::shared_ptr<LeftOver> journal;
    std::optional<TakeSpan> span;      // empty: nothing was played
    std::vector<PlayerConfig> players; // empty: its configuration is not understood
    std::string problem;               // why not
};

// Of every player in its order.
std::vector<Replayed> all_replayed(const Journal& journal, const TakeSpan& span, std::span<const PlayerConfig> players);

LeftOverTake left_over_take(std::shared_ptr<LeftOver> journal, Duration silence);
std::vector<LeftOverTake> gather_left_over(const std::filesystem::path& folder, Duration silence);

// The stem of the new take; empty: nothing was played, and the journal is gone.
std::string finish_left_over_take(const std::filesystem::path& folder, const LeftOverTake& left);

} // namespace bowarm
