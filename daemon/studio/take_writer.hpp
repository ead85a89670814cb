// The thread that keeps what was played and sent, and writes it down as three files when the music is over.
//   take-YYYYmmdd-HHMMSS[-n].mid is what was sent, ...-played.mid what was played, ...json the report.
//   thread   constructor, finish, problem, cut, running: the service.  Real-time safe: no.
//   Errors   a folder that cannot be written is said in the log and in problem(); the take is kept in memory, within its limit,
//            and tried again under the same name.
#pragma once

#include "studio/configuration.hpp"
#include "studio/lines.hpp"
#include "take/take.hpp"

#include <atomic>
#include <bitset>
#include <filesystem>
#include <mutex>
#include <string>
#include <thread>

namespace bowarm
{

struct TakeWish {
    std::filesystem::path folder; // empty: nothing is kept
    Seconds silence{20};          // a take ends after this long without a key down or struck
    bool whole_session{false};    // one take from logical time 0 to the end (a file is played)
    PlayerConfig player;          // for the report's head
    // What a take may hold in memory.  From a quarter of it on a take ends as soon as no key is down; dense playing fills that
    // in some hours.
    std::uint64_t bytes_at_most{256U << 20};
};

class TakeWriter
{
public:
    TakeWriter(TakeWish wish, Lines& lines);
    ~TakeWriter();
    TakeWriter(const TakeWriter&) = delete;
    TakeWriter& operator=(const TakeWriter&) = delete;

    // Writes what there is and ends the thread; the engine has stopped.  False: a take could not be written, or
    // events are missing from one.
    bool finish();
    // The file has been played: from now on silence ends a take.
    void session_over() noexcept { whole_session_.store(false, std::memory_order_release); }
    std::string problem() const; // empty: none
    // The take that runs ends now, whatever keys are down; the next note begins another.
    void cut() noexcept;
    std::string running() const; // the take's name; empty: none

private:
    void run();
    void drain();
    void keep(const TakeItem& item);
    void watch_keys(const Input& input);
    bool begins_a_take(const TakeItem& item) const;
    bool is_over() const;
    void close_take();
    bool write_files();
    void say(std::string& place, std::string text);

    TakeWish wish_;
    Lines& lines_;
    Recorder take_;
    bool recording_{false};
    bool has_notes_{false};
    bool take_lost_{false};       // what was played last is not on the disk
    std::uint64_t kept_bytes_{0}; // about what take_ holds
    std::uint64_t missing_{0};    // events, since the start
    std::string stem_;            // of the take's files: when it began
    std::bitset<16 * 128> keys_down_;
    std::int64_t last_note_ns_{0};
    std::int64_t try_again_ns_{0};
    std::atomic<bool> finishing_{false}, whole_session_, cut_{false};
    mutable std::mutex mutex_;
    std::string unkept_, gaps_; // two kinds of trouble; empty: none
    std::string running_;
    std::thread thread_;
};

// The folder is there, or was made, for its owner only.  Throws std::system_error.
void prepare_take_folder(const std::filesystem::path& folder);

} // namespace bowarm
