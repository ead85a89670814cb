// The thread that writes the journal of the take that is played (take/journal.hpp), so that a crash or a power cut loses little.
//   What the engine applied reaches the system within a quarter of a second and the disk within a second or so; a second thread
//   waits for the disk.  A disk that stands still is bridged by the ring, 30 s; one that is full or away by `pending_at_most`
//   bytes; what goes beyond is counted as a gap, and the take is incomplete.
//   The file is called open-...journal and locked while it is written; a finished take's journal gets the take's name, and the
//   next begins with everything that the players have lived through (up to `past_at_most` bytes).
//   thread   close_take: the take writer; configured, withdraw_configured, problem: any; finish: when the engine has stopped.  Real-time
//   safe: no. Errors   in words by problem(); nothing is thrown.
#pragma once

#include "studio/journal_file.hpp"
#include "studio/lines.hpp"
#include "take/journal.hpp"

#include <atomic>
#include <condition_variable>
#include <deque>
#include <filesystem>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

namespace bowarm
{

struct JournalLimits {
    std::size_t pending_at_most{8U << 20};
    std::uintmax_t past_at_most{64U << 20};
};

class JournalWriter
{
public:
    // The folder need not be there yet: it is looked for again.
    JournalWriter(std::filesystem::path folder, JournalHead head, Lines& lines, JournalLimits limits = {});
    ~JournalWriter();
    JournalWriter(const JournalWriter&) = delete;
    JournalWriter& operator=(const JournalWriter&) = delete;

    // The take with these inputs is over, and its journal is to have this name.
    void close_take(const TakeSpan& span, std::filesystem::path name);
    // True once all closed takes have their journals, waiting at most that long.
    bool all_closed(Duration patience);
    // The texts of the players that the next input of kind `configured` brings.
    void configured(ConfigurationTexts texts);
    // The last ones are not to come after all.
    void withdraw_configured();
    // Writes what there is and ends.  A journal in which nothing was played since its past is taken away, any other stays;
    // who knows better than to take every key for a note says so.
    void finish(std::optional<bool> played = std::nullopt);
    std::string problem() const; // empty: none
    // Inputs that are missing from journals since the start.
    std::uint64_t missing() const { return missing_.load(std::memory_order_relaxed); }

private:
    struct Closing {
        TakeSpan span;
        std::filesystem::path name;
    };

    void run();
    void keep_on_disk();
    bool drain();
    void wait(bool came);
    void take_in(const JournalInput& input);
    void write_out();
    void count_what_is_pending();
    void forget_the_past();
    void try_to_open();
    void begin_next(const Closing& closed);
    void settle_name_in(const std::filesystem::path& folder);
    void close_what_is_over();
    void end_file();
    void say(std::string text);

    const std::filesystem::path folder_;
    const JournalLimits limits_;
    JournalHead head_;
    Lines& lines_;
    std::shared_ptr<JournalFile> file_; // null while it cannot be opened; replaced under the mutex
    JournalBytes pending_;              // whole records that are not in the file yet
    std::uint64_t pending_inputs_{0};
    Time latest_{};                   // of the inputs
    bool played_{false};              // a note since the past
    std::optional<bool> told_played_; // at the end
    std::int64_t open_again_ns_{0};
    std::atomic<std::uint64_t> missing_{0};
    std::atomic<bool> finishing_{false};
    mutable std::mutex mutex_;
    std::condition_variable disk_bell_, closed_bell_;
    std::deque<Closing> closings_;
    std::deque<ConfigurationTexts> texts_;
    std::string problem_;
    bool unsynced_{false}; // something is in the file that may not be on the disk
    bool ended_{false};    // the writing thread has
    std::thread thread_, disk_thread_;
};

} // namespace bowarm
