#include "status/socket_file.hpp"

#include "status/status.hpp"

#include <cerrno>
#include <cstring>
#include <fcntl.h>
#include <string>
#include <sys/file.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <system_error>
#include <unistd.h>

namespace bowarm
{

namespace
{

[[noreturn]] void fail(int error, const std::filesystem::path& path, const std::string& reason = {},
                       const std::string& remedy = "name another socket in the configuration, [status] socket")
{
    throw SocketProblem{error, path.string() + ": " + (reason.empty() ? std::generic_category().message(error) : reason) + "; " + remedy};
}

// Everybody else's permissions are off for what is made while this lives.
class PrivateUmask
{
public:
    explicit PrivateUmask(mode_t denied) : before_(::umask(denied)) {}
    ~PrivateUmask() { ::umask(before_); }
    PrivateUmask(const PrivateUmask&) = delete;
    PrivateUmask& operator=(const PrivateUmask&) = delete;

private:
    mode_t before_;
};

// Whoever may write in the folder may put another socket in our place.
void check_folder(const std::filesystem::path& folder)
{
    struct stat info {
    };
    if (::stat(folder.c_str(), &info) != 0) fail(errno, folder);
    if (!S_ISDIR(info.st_mode)) fail(ENOTDIR, folder);
    if (info.st_uid != ::geteuid() && info.st_uid != 0)
        fail(EACCES, folder, "the socket's folder belongs to somebody else", "name a socket in a folder of yours in the configuration");
    const bool others_write = (info.st_mode & (S_IWGRP | S_IWOTH)) != 0;
    if (others_write && (info.st_mode & S_ISVTX) == 0)
        fail(EACCES, folder, "others may write in the socket's folder", "chmod 700 it, or name a socket elsewhere in the configuration");
}

int take_lock(const std::filesystem::path& socket)
{
    const std::string name = socket.string() + ".lock";
    const int lock = ::open(name.c_str(), O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (lock < 0) fail(errno, name);
    if (::flock(lock, LOCK_EX | LOCK_NB) == 0) return lock;
    const int error = errno;
    ::close(lock);
    if (error == EWOULDBLOCK) throw SocketInUse{socket.string()};
    fail(error, name);
}

sockaddr_un address_of(const std::filesystem::path& path)
{
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::memcpy(address.sun_path, path.c_str(), path.native().size() + 1);
    return address;
}

int new_socket(const std::filesystem::path& path)
{
    const int descriptor = ::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (descriptor < 0) fail(errno, path);
    return descriptor;
}

// Zero, or why nobody answered; EAGAIN means that somebody lives there and is busy.
int try_to_connect(const std::filesystem::path& path)
{
    const int descriptor = new_socket(path);
    const auto address = address_of(path);
    const int error = ::connect(descriptor, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0 ? 0 : errno;
    ::close(descriptor);
    return error;
}

// With the lock in hand: what lies at the path may be removed only when it is a socket that nobody answers.
void remove_what_is_dead(const std::filesystem::path& path)
{
    struct stat info {
    };
    if (::lstat(path.c_str(), &info) != 0) {
        if (errno == ENOENT) return;
        fail(errno, path);
    }
    if (!S_ISSOCK(info.st_mode)) fail(EEXIST, path, "something that is no socket has this name");
    const int error = try_to_connect(path);
    if (error == ENOENT) return;
    if (error == 0 || error == EAGAIN) throw SocketInUse{path.string()};
    if (error != ECONNREFUSED) fail(error, path);
    if (::unlink(path.c_str()) != 0 && errno != ENOENT) fail(errno, path);
}

} // namespace

SocketFile::SocketFile(const std::filesystem::path& path) : path_(path)
{
    const auto length = path.native().size();
    if (length == 0) fail(EINVAL, path, "the status socket has no path");
    if (length > socket_path_limit)
        fail(ENAMETOOLONG, path, "a socket's path has at most 107 bytes and this one has " + std::to_string(length));
    const PrivateUmask narrow{0077}; // folders 0700
    const auto folder = path.has_parent_path() ? path.parent_path() : std::filesystem::path{"."};
    std::error_code trouble;
    if (std::filesystem::create_directories(folder, trouble); trouble) fail(trouble.value(), folder);
    check_folder(folder);
    lock_ = take_lock(path);
    try {
        remove_what_is_dead(path);
    } catch (...) {
        ::close(lock_);
        throw;
    }
}

SocketFile::~SocketFile()
{
    struct stat info {
    };
    if (bound_ && ::lstat(path_.c_str(), &info) == 0 && info.st_dev == device_ && info.st_ino == inode_) ::unlink(path_.c_str());
    if (lock_ >= 0) ::close(lock_);
}

int SocketFile::listen()
{
    const int descriptor = new_socket(path_);
    const auto address = address_of(path_);
    const PrivateUmask narrow{0177}; // the socket 0600
    struct stat info {
    };
    if (::bind(descriptor, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0 || ::lstat(path_.c_str(), &info) != 0 ||
        ::listen(descriptor, 16) != 0) {
        const int error = errno;
        ::close(descriptor);
        fail(error, path_);
    }
    bound_ = true;
    device_ = info.st_dev;
    inode_ = info.st_ino;
    return descriptor;
}

} // namespace bowarm
