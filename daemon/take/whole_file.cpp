#include "take/sync_folder.hpp"
#include "take/take.hpp"

#include <atomic>
#include <cerrno>
#include <fcntl.h>
#include <string>
#include <sys/stat.h>
#include <system_error>
#include <unistd.h>
#include <utility>

namespace bowarm
{

namespace
{

namespace fs = std::filesystem;

[[noreturn]] void fail(int code, const fs::path& path) { throw std::system_error(code, std::generic_category(), path.string()); }

class Descriptor
{
public:
    Descriptor(const fs::path& path, int flags, mode_t mode = 0) : number_(::open(path.c_str(), flags | O_CLOEXEC, mode)) {}
    ~Descriptor()
    {
        if (number_ >= 0) ::close(number_);
    }
    Descriptor(const Descriptor&) = delete;
    Descriptor& operator=(const Descriptor&) = delete;
    bool open() const { return number_ >= 0; }
    int number() const { return number_; }
    int close() { return ::close(std::exchange(number_, -1)); }

private:
    int number_;
};

// The temporary is taken away again unless it was renamed.
class Temporary
{
public:
    explicit Temporary(fs::path path) : path_(std::move(path)) {}
    ~Temporary()
    {
        if (!renamed_) ::unlink(path_.c_str());
    }
    Temporary(const Temporary&) = delete;
    Temporary& operator=(const Temporary&) = delete;
    const fs::path& path() const { return path_; }
    void rename_to(const fs::path& final_path)
    {
        if (::rename(path_.c_str(), final_path.c_str()) != 0) fail(errno, final_path);
        renamed_ = true;
    }

private:
    fs::path path_;
    bool renamed_{false};
};

void write_all(int descriptor, std::span<const std::uint8_t> bytes, const fs::path& path)
{
    while (!bytes.empty()) {
        const ssize_t written = ::write(descriptor, bytes.data(), bytes.size());
        if (written < 0 && errno == EINTR) continue;
        if (written < 0) fail(errno, path);
        bytes = bytes.subspan(static_cast<std::size_t>(written));
    }
}

// A short name of its own: the final name may already be as long as the file system allows.
fs::path temporary_name(const fs::path& folder)
{
    static std::atomic<unsigned> count{0};
    return folder / (".bowarm-" + std::to_string(::getpid()) + "-" + std::to_string(count++) + ".tmp");
}

// A pipe or a terminal has nothing to lose and cannot be renamed over.
void write_through(const fs::path& path, std::span<const std::uint8_t> bytes)
{
    const Descriptor file(path, O_WRONLY);
    if (!file.open()) fail(errno, path);
    write_all(file.number(), bytes, path);
}

void replace_file(const fs::path& path, std::span<const std::uint8_t> bytes, mode_t mode, bool existed, Settle settle)
{
    const fs::path folder = path.has_parent_path() ? path.parent_path() : fs::path{"."};
    const fs::path name = temporary_name(folder);
    Descriptor file(name, O_WRONLY | O_CREAT | O_EXCL, mode);
    if (!file.open()) fail(errno, path);
    Temporary temporary(name);
    if (existed && ::fchmod(file.number(), mode) != 0) fail(errno, path);
    write_all(file.number(), bytes, path);
    if (settle == Settle::on_disk && ::fsync(file.number()) != 0) fail(errno, path);
    if (file.close() != 0) fail(errno, path);
    temporary.rename_to(path);
    if (settle == Settle::on_disk) sync_folder(folder);
}

} // namespace

// Some file systems cannot sync folders and say so.
void sync_folder(const fs::path& folder)
{
    const Descriptor descriptor(folder, O_RDONLY | O_DIRECTORY);
    if (!descriptor.open()) return;
    if (::fsync(descriptor.number()) != 0 && errno != EINVAL && errno != ENOTSUP) fail(errno, folder);
}

void write_whole_file(const std::filesystem::path& path, std::span<const std::uint8_t> bytes, unsigned mode, Settle settle)
{
    struct stat found {
    };
    if (::stat(path.c_str(), &found) != 0) {
        if (errno != ENOENT) fail(errno, path);
        return replace_file(path, bytes, mode, false, settle);
    }
    if (S_ISDIR(found.st_mode)) fail(EISDIR, path);
    if (!S_ISREG(found.st_mode)) return write_through(path, bytes);
    // A link keeps pointing where it does.
    replace_file(fs::canonical(path), bytes, found.st_mode & 07777, true, settle);
}

} // namespace bowarm
