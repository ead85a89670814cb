#include "studio/journal_file.hpp"

#include "midi/ports/monotonic.hpp"
#include "take/sync_folder.hpp"
#include "take/take.hpp"

#include <spdlog/spdlog.h>

#include <array>
#include <cerrno>
#include <ctime>
#include <fcntl.h>
#include <string>
#include <sys/file.h>
#include <sys/stat.h>
#include <system_error>
#include <unistd.h>
#include <utility>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

std::string open_stem(std::int64_t wall_s)
{
    const auto wall = static_cast<std::time_t>(wall_s);
    std::tm parts{};
    ::localtime_r(&wall, &parts);
    std::array<char, 48> text{};
    std::strftime(text.data(), text.size(), "open-%Y%m%d-%H%M%S", &parts);
    return text.data();
}

// Days of dense playing; an endless device or a file of holes must not fill the memory.
constexpr off_t journal_bytes_at_most = off_t{512} << 20;

std::vector<std::uint8_t> bytes_of_descriptor(int descriptor, const fs::path& path)
{
    struct stat info {
    };
    if (::fstat(descriptor, &info) != 0) fail_with(errno, path);
    if (!S_ISREG(info.st_mode)) fail_with(ENOTSUP, path);
    if (info.st_size > journal_bytes_at_most) fail_with(EFBIG, path);
    std::vector<std::uint8_t> bytes;
    std::array<std::uint8_t, 65536> block;
    for (off_t at = 0;;) {
        const ssize_t count = ::pread(descriptor, block.data(), block.size(), at);
        if (count < 0 && errno == EINTR) continue;
        if (count < 0) fail_with(errno, path);
        if (count == 0) return bytes;
        bytes.insert(bytes.end(), block.begin(), block.begin() + count);
        at += count;
        if (at > journal_bytes_at_most) fail_with(EFBIG, path);
    }
}

// A short write is taken back, so that the file always ends with a whole record.  0, or errno.
int append_whole(int descriptor, std::span<const std::uint8_t> bytes, off_t& size)
{
    const off_t before = size;
    while (!bytes.empty()) {
        const ssize_t written = ::pwrite(descriptor, bytes.data(), bytes.size(), size);
        if (written < 0 && errno == EINTR) continue;
        if (written <= 0) {
            const int error = written == 0 ? ENOSPC : errno;
            if (::ftruncate(descriptor, before) == 0) size = before;
            return error;
        }
        size += written;
        bytes = bytes.subspan(static_cast<std::size_t>(written));
    }
    return 0;
}

} // namespace

void fail_with(int error, const fs::path& path) { throw std::system_error(error, std::generic_category(), path.string()); }

JournalFile::JournalFile(const fs::path& folder, std::int64_t wall_s) : folder_(folder)
{
    const fs::path hidden = folder / (".bowarm-journal-" + std::to_string(::getpid()) + "-" + std::to_string(monotonic_ns()) + ".tmp");
    descriptor_ = ::open(hidden.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, owner_only);
    if (descriptor_ < 0) fail_with(errno, folder);
    path_ = hidden;
    if (::flock(descriptor_, LOCK_EX | LOCK_NB) != 0) give_up(errno);
    const std::string stem = open_stem(wall_s);
    // link(2), unlike rename(2), never replaces what is there.
    for (int n = 1;; ++n) {
        std::string file = stem;
        if (n > 1) file.append("-").append(std::to_string(n));
        const fs::path name = folder / (file + ".journal");
        if (::link(hidden.c_str(), name.c_str()) == 0) {
            ::unlink(hidden.c_str());
            path_ = name;
            return;
        }
        if (errno != EEXIST) return; // a file system without links: the hidden name has to do
    }
}

JournalFile::~JournalFile()
{
    if (descriptor_ >= 0) ::close(descriptor_);
}

int JournalFile::append(std::span<const std::uint8_t> bytes)
{
    const int error = append_whole(descriptor_, bytes, size_);
    if (error == 0) dirty_.store(true, std::memory_order_release);
    return error;
}

int JournalFile::sync()
{
    if (!dirty_.exchange(false, std::memory_order_acq_rel)) return 0;
    return sync_now();
}

int JournalFile::sync_now()
{
    if (::fdatasync(descriptor_) != 0) return errno;
    if (!newly_named_.exchange(false, std::memory_order_acq_rel)) return 0;
    try {
        sync_folder(folder_); // this file's name, and what those before it were renamed to
    } catch (const std::system_error& trouble) {
        return trouble.code().value();
    }
    return 0;
}

bool JournalFile::is_there() const
{
    struct stat ours {
    }, named{};
    return ::fstat(descriptor_, &ours) == 0 && ::stat(path_.c_str(), &named) == 0 && ours.st_ino == named.st_ino &&
           ours.st_dev == named.st_dev;
}

void JournalFile::rename_to(const fs::path& name)
{
    if (::rename(path_.c_str(), name.c_str()) != 0) fail_with(errno, name);
    path_ = name;
}

void JournalFile::remove() { ::unlink(path_.c_str()); }

std::vector<std::uint8_t> JournalFile::bytes() const { return bytes_of_descriptor(descriptor_, path_); }

void JournalFile::give_up(int error)
{
    ::unlink(path_.c_str());
    ::close(std::exchange(descriptor_, -1));
    fail_with(error, path_);
}

LeftOver::LeftOver(fs::path path, int descriptor)
    : path_(std::move(path)), descriptor_(descriptor), journal_(read_journal(bytes_of_descriptor(descriptor, path_)))
{
}

LeftOver::~LeftOver() { ::close(descriptor_); }

std::shared_ptr<LeftOver> LeftOver::take(const fs::path& path)
{
    // O_NONBLOCK: a pipe in the place of the file must not hold the service.
    int descriptor = ::open(path.c_str(), O_RDWR | O_CLOEXEC | O_NONBLOCK);
    if (descriptor < 0 && (errno == EACCES || errno == EROFS)) descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (descriptor < 0) return nullptr;
    if (::flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
        const int reason = errno;
        ::close(descriptor);
        errno = reason;
        return nullptr;
    }
    try {
        return std::shared_ptr<LeftOver>{new LeftOver{path, descriptor}};
    } catch (...) {
        ::close(descriptor);
        throw;
    }
}

void LeftOver::finish(const TakeSpan& span, const fs::path& name)
{
    auto size = static_cast<off_t>(journal_.sound_bytes);
    if (::ftruncate(descriptor_, size) != 0) fail_with(errno, path_);
    if (!journal_.end) {
        JournalBytes end;
        append_record(end, span);
        if (const int error = append_whole(descriptor_, end, size); error != 0) fail_with(error, path_);
    }
    if (::fdatasync(descriptor_) != 0) fail_with(errno, path_);
    if (::rename(path_.c_str(), name.c_str()) != 0) fail_with(errno, name);
    path_ = name;
    sync_folder(name.parent_path());
}

void LeftOver::remove() noexcept { ::unlink(path_.c_str()); }

std::vector<std::shared_ptr<LeftOver>> left_over_in(const fs::path& folder)
{
    std::vector<std::shared_ptr<LeftOver>> found;
    std::error_code ignored;
    for (fs::directory_iterator at{folder, ignored}, end; !ignored && at != end; at.increment(ignored)) {
        const std::string name = at->path().filename().string();
        if (!name.starts_with("open-") || !name.ends_with(".journal") || at->is_symlink(ignored)) continue;
        try {
            if (auto left = LeftOver::take(at->path())) found.push_back(std::move(left));
        } catch (const std::system_error& trouble) {
            spdlog::warn("left as it is: {}", trouble.what()); // one file must not keep the service from starting
        }
    }
    return found;
}

std::vector<std::uint8_t> bytes_of_file(const fs::path& path)
{
    const int descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (descriptor < 0) fail_with(errno, path);
    try {
        auto bytes = bytes_of_descriptor(descriptor, path);
        ::close(descriptor);
        return bytes;
    } catch (...) {
        ::close(descriptor);
        throw;
    }
}

} // namespace bowarm
