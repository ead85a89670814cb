// The files of journals on the disk: the one that is written, and those that a crash left behind.
//   thread   one at a time, but `sync`, which the thread that waits for the disk may call meanwhile.  Real-time safe: no.
//   Errors   std::system_error with the path, where no errno is returned.
#pragma once

#include "take/journal.hpp"

#include <atomic>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <sys/types.h>
#include <vector>

namespace bowarm
{

class JournalFile
{
public:
    // open-...journal, named after that moment.  Made under another name and locked before it is called a journal, so that nobody takes
    // it for left over.
    JournalFile(const std::filesystem::path& folder, std::int64_t wall_s);
    ~JournalFile();
    JournalFile(const JournalFile&) = delete;
    JournalFile& operator=(const JournalFile&) = delete;

    // All or nothing, so that the file always ends with a whole record.  0, or errno.
    int append(std::span<const std::uint8_t> bytes);
    // What was appended, when something was, and the name when it is new.  0, or errno.
    int sync();
    // Also when the other thread has begun to.
    int sync_now();
    bool is_there() const;
    void rename_to(const std::filesystem::path& name);
    void remove();
    std::vector<std::uint8_t> bytes() const;
    const std::filesystem::path& path() const { return path_; }
    const std::filesystem::path& folder() const { return folder_; } // for any thread: it stays when the name changes

private:
    [[noreturn]] void give_up(int error);

    std::filesystem::path folder_, path_;
    int descriptor_{-1};
    off_t size_{0};
    std::atomic<bool> dirty_{false};
    std::atomic<bool> newly_named_{true}; // its folder was not synced since
};

// A journal that nobody writes any more, locked by us as long as it lives: what a crash left behind.
class LeftOver
{
public:
    // Null: it is being written, or cannot be read; the reason is in errno.
    static std::shared_ptr<LeftOver> take(const std::filesystem::path& path);
    ~LeftOver();
    LeftOver(const LeftOver&) = delete;
    LeftOver& operator=(const LeftOver&) = delete;
    const std::filesystem::path& path() const { return path_; }
    const Journal& journal() const { return journal_; }
    // Gives it the end of its take and the take's name; damaged parts are cut off.  Throws std::system_error.
    void finish(const TakeSpan& span, const std::filesystem::path& name);
    void remove() noexcept;

private:
    LeftOver(std::filesystem::path path, int descriptor);
    std::filesystem::path path_;
    int descriptor_;
    Journal journal_;
};

// The open-...journal files of this folder that nobody writes.
std::vector<std::shared_ptr<LeftOver>> left_over_in(const std::filesystem::path& folder);

// Only of an ordinary file of at most 512 MB.
std::vector<std::uint8_t> bytes_of_file(const std::filesystem::path& path);

[[noreturn]] void fail_with(int error, const std::filesystem::path& path);

} // namespace bowarm
