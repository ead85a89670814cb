// The socket's place in the file system: its folder, its lock, and who may take it.
//   thread   the service thread, before others start files (it narrows the umask for a moment).  Real-time safe: no.
//   Errors   SocketInUse when a living service has the path; SocketProblem for the rest.
//   source   unix(7): 107 bytes of path, no peer gives ECONNREFUSED; flock(2): a lock dies with its process.
#pragma once

#include <cstddef>
#include <filesystem>
#include <sys/types.h>

namespace bowarm
{

inline constexpr std::size_t socket_path_limit = 107;

// Owns the lock beside the socket from construction on, and the socket's name once it is bound.
class SocketFile
{
public:
    // Makes the folder (0700) where it is missing, takes the lock, and removes what a dead service left.
    explicit SocketFile(const std::filesystem::path& path);
    // Unlinks the socket when it is still ours; the lock file stays, as unlinking it would let two services in.
    ~SocketFile();
    SocketFile(const SocketFile&) = delete;
    SocketFile& operator=(const SocketFile&) = delete;

    // A listening socket at the path, 0600; the caller owns the descriptor.  Once.
    int listen();

private:
    std::filesystem::path path_;
    int lock_{-1};
    bool bound_{false};
    dev_t device_{0};
    ino_t inode_{0};
};

} // namespace bowarm
