// The thread that keeps what was played and sent, and writes it down as three files when the music is over.
//   take-YYYYmmdd-HHMMSS[-n].mid is what was sent, ...-played.mid what was played, ...json the report.
//   thread   constructor, finish, problem: the service.  Real-time safe: no.
//   Errors   a folder that cannot be written is said in the log and in problem(); the take is kept in memory and tried again.
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
};

class TakeWriter
{
public:
    TakeWriter(TakeWish wish, Lines& lines);
    ~TakeWriter();
    TakeWriter(const TakeWriter&) = delete;
    TakeWriter& operator=(const TakeWriter&) = delete;

    // Writes what there is and ends the thread; the engine has stopped.  False: something could not be written.
    bool finish();
    // The file has been played: from now on silence ends a take.
    void session_over() noexcept { whole_session_.store(false, std::memory_order_release); }
    std::string problem() const; // empty: none

private:
    void run();
    void drain();
    void keep(const TakeItem& item);
    void watch_keys(const Input& input);
    bool begins_a_take(const TakeItem& item) const;
    bool is_over() const;
    void close_take();
    void write_files();
    void set_problem(std::string text);

    TakeWish wish_;
    Lines& lines_;
    Recorder take_;
    bool recording_{false};
    bool has_notes_{false};
    std::bitset<16 * 128> keys_down_;
    std::int64_t last_note_ns_{0};
    std::int64_t try_again_ns_{0};
    std::atomic<bool> finishing_{false}, whole_session_;
    mutable std::mutex mutex_;
    std::string problem_;
    std::thread thread_;
};

// The folder is there, or was made, for its owner only.  Throws std::system_error.
void prepare_take_folder(const std::filesystem::path& folder);

} // namespace bowarm
