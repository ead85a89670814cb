// The folder of takes: the files of a take, their names, and what may be done with them.
//   take-YYYYmmdd-HHMMSS[-n].mid is what was sent, ...-played.mid what was played, ...json the report, ...journal what a replay
//   needs, all of them of all players; ...name holds a name that the person gave, and where ...kept lies the take is never pruned.  Nothing
//   else in the folder is ever touched. thread   any.  Real-time safe: no. Errors   std::system_error with the path.
#pragma once

#include "player/player.hpp"
#include "take/take.hpp"

#include <cstdint>
#include <ctime>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <system_error>
#include <vector>

namespace bowarm
{

struct TakeFiles {
    std::filesystem::path sent, played, report, journal, name, kept;
};
TakeFiles files_named(const std::filesystem::path& folder, const std::string& stem);
// "take-20260131-235959", local time.
std::string take_stem(std::time_t wall);
// Nobody has these names yet: an earlier take is never overwritten.  Answers the stem.
std::string free_stem(const std::filesystem::path& folder, const std::string& stem);

struct KeptTake {
    std::string stem;
    std::string name; // empty: none was given
    bool kept{false}; // for good
    bool has_journal{false};
    std::uintmax_t bytes{0}; // of all its files
};
// The oldest first; empty where there is no folder.
std::vector<KeptTake> takes_in(const std::filesystem::path& folder);
// By its stem, its given name, or its number in that list from 1; "last" is the newest.
std::optional<KeptTake> take_called(const std::filesystem::path& folder, std::string_view word);

void delete_take(const std::filesystem::path& folder, const std::string& stem);
// One line of at most 80 bytes; an empty name takes the old one away.
void name_take(const std::filesystem::path& folder, const std::string& stem, std::string_view name);
void keep_take(const std::filesystem::path& folder, const std::string& stem);

struct Quota {
    std::uint64_t takes_at_most{0};     // 0: as many as there are
    std::uint64_t megabytes_at_most{0}; // 0: as much as there is
};
// Deletes the oldest takes that are not kept for good until the quota holds; the newest stays in any case.  Answers their stems.
//   made: stems of this service's own takes, in the order it made them.  They are the newest whatever their names say: a clock that is
//   set back names them before older ones.
std::vector<std::string> prune_takes(const std::filesystem::path& folder, const Quota& quota, std::span<const std::string> made = {});

// What one player did in a take.
struct PlayersTake {
    const Recorder& take;
    const PlayerConfig& player;
};

// With the regret, where there is one bow.
std::string report_of_take(const Recorder& take, const PlayerConfig& player);
// Of several players: format "bowarm-reports", version 1, with name and report of each in "players"; of one, its report.
std::string report_of_takes(std::span<const PlayersTake> takes);

// The tracks of each player for a file, under its name where there are several.
std::vector<NamedTake> named(std::span<const PlayersTake> takes);

// The three files of a take, all or none of them.
void write_take_files(const std::filesystem::path& folder, const std::string& stem, std::span<const PlayersTake> takes);

// The folder is there, or was made, for its owner only.
void prepare_take_folder(const std::filesystem::path& folder);
// Path, reason in the system's own words, and what to do.
std::string cannot_be_kept(const std::string& path, const std::error_code& reason);

} // namespace bowarm
