// The thread that keeps what was played and sent, and writes it down as three files (take_folder.hpp) when the music is over; beside
// it the journal is written (journal_writer.hpp), which outlives a crash.
//   A take is of all players, and has one beginning and one end.  It begins with the first note and ends after a silence; or it begins and
//   ends by key or command (take_controls.hpp), and then silence does not end it.  Going back in the song begins another, and so does a new
//   configuration. thread   constructor, finish, problem, state, configured, withdraw_configured: the service.  Real-time safe: no. Errors
//   a folder that cannot be written is said in the log and in problem(); the take is kept in memory, within its limit,
//            and tried again under the same name.
#pragma once

#include "studio/configuration.hpp"
#include "studio/hear_again.hpp"
#include "studio/journal_writer.hpp"
#include "studio/left_over.hpp"
#include "studio/lines.hpp"
#include "studio/take_folder.hpp"
#include "take/take.hpp"
#include "take/take_controls.hpp"

#include <array>
#include <atomic>
#include <bitset>
#include <deque>
#include <filesystem>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

namespace bowarm
{

struct TakeWish {
    std::filesystem::path folder;      // empty: nothing is kept
    Seconds silence{20};               // a take ends after this long without a key down or struck
    bool whole_session{false};         // one take from logical time 0 to the end (a file is played)
    std::vector<PlayerConfig> players; // in the order of their numbers, at least one
    // What a take may hold in memory.  From a quarter of it on a take ends as soon as no key is down; dense playing fills that
    // in some hours.
    std::uint64_t bytes_at_most{256U << 20};
    std::optional<JournalHead> journal{}; // empty: no journal is written
    Quota quota{};
    std::vector<LeftOverTake> left_over{}; // to be finished first
};

// For status and whoever asks.
struct TakeState {
    bool running{false};   // notes are in it
    std::string last_stem; // of the last take that was kept; empty: none yet
    std::string stem;      // of the one that runs
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
    void session_over() noexcept
    {
        whole_session_.store(false, std::memory_order_release);
        lines_.take.bell.ring();
    }
    std::string problem() const; // empty: none
    TakeState state() const;
    // Before the input of kind `configured` that brings these players; silence and quota hold from it on.
    void configured(std::vector<PlayerConfig> players, ConfigurationTexts texts, Seconds silence, Quota quota);
    // The last one named is not to come after all.
    void withdraw_configured();

private:
    void run();
    bool drain();
    void keep(const TakeItem& item);
    void hear(const Input& input);
    void obey(TakeAction action);
    void keep_that_one();
    void hear_the_last(Time asked);
    void take_new_players();
    void keep(const TakeEvent& what, Recorder& take);
    bool is_empty() const;
    void finish_left_over();
    void prune();
    void watch_keys(const Input& input);
    void begin_take(Time origin);
    std::optional<std::int64_t> over_at_ns() const;
    bool is_over() const;
    std::optional<std::int64_t> over_in_ms() const;
    void close_take();
    bool write_files();
    void say(std::string& place, std::string text);

    TakeWish wish_;
    Lines& lines_;
    TakeControls controls_;
    HearAgain again_;
    std::array<SongPlace, inputs_at_most> songs_; // of each input
    std::optional<JournalWriter> journal_;
    std::vector<Recorder> takes_; // of each player
    Time origin_{}, last_input_{};
    bool recording_{false};
    bool by_hand_{false};   // begun by key or command: silence does not end it
    bool keep_this_{false}; // for good
    bool has_notes_{false};
    bool take_lost_{false};         // what was played last is not on the disk
    std::uint64_t kept_bytes_{0};   // about what they hold
    std::uint64_t missing_{0};      // events, since the start
    std::string stem_;              // of the take's files: when it began
    std::vector<std::string> made_; // stems of the takes written, in that order
    std::bitset<16 * 128> keys_down_;
    std::int64_t last_note_ns_{0};
    std::int64_t try_again_ns_{0};
    std::atomic<bool> finishing_{false}, whole_session_;
    mutable std::mutex mutex_;
    std::string unkept_, gaps_; // two kinds of trouble; empty: none
    std::string last_stem_, running_stem_;
    struct Coming {
        std::vector<PlayerConfig> players;
        Seconds silence;
        Quota quota;
    };
    std::deque<Coming> players_; // whose inputs are yet to come
    std::atomic<bool> running_{false};
    std::thread thread_;
};

} // namespace bowarm
