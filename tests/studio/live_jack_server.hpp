// A private JACK server without sound for one test.  One fixed name: JACK's registry has eight places for the whole machine,
// and a server killed under a fresh name keeps its place.  A lock keeps tests that run side by side apart.
#pragma once

#include <array>
#include <cstdlib>
#include <cstring>
#include <fcntl.h>
#include <filesystem>
#include <jack/jack.h>
#include <spawn.h>
#include <string>
#include <sys/file.h>
#include <sys/wait.h>
#include <thread>
#include <unistd.h>

extern char** environ;

namespace bowarm::test
{

class JackServer
{
public:
    static constexpr const char* name = "bowarm-private-test";

    JackServer()
    {
        const auto path = std::filesystem::temp_directory_path() / "bowarm-private-jack.lock";
        lock_ = ::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0600);
        ::flock(lock_, LOCK_EX);
        ::setenv("JACK_DEFAULT_SERVER", name, 1);
        ::setenv("JACK_NO_AUDIO_RESERVATION", "1", 1);
        start();
    }
    ~JackServer()
    {
        if (process_ > 0) {
            ::kill(process_, SIGTERM);
            ::waitpid(process_, nullptr, 0);
        }
        ::close(lock_);
    }
    JackServer(const JackServer&) = delete;
    JackServer& operator=(const JackServer&) = delete;

    // False: there is no jackd on this machine, or it does not start.
    bool runs() const { return process_ > 0; }

private:
    void start()
    {
        // A long period: a client that is late for a cycle loses its events, and a busy machine is late for short ones.
        std::array<const char*, 9> words{"jackd", "-n", name, "-r", "-d", "dummy", "-p", "1024", nullptr};
        posix_spawn_file_actions_t actions;
        ::posix_spawn_file_actions_init(&actions);
        ::posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
        ::posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
        if (::posix_spawnp(&process_, "jackd", &actions, nullptr, const_cast<char**>(words.data()), environ) != 0) process_ = -1;
        ::posix_spawn_file_actions_destroy(&actions);
        for (int i = 0; process_ > 0 && i < 200; ++i) {
            if (answers()) return;
            if (::waitpid(process_, nullptr, WNOHANG) == process_) process_ = -1;
            std::this_thread::sleep_for(std::chrono::milliseconds(50));
        }
        if (process_ > 0) {
            ::kill(process_, SIGTERM);
            ::waitpid(process_, nullptr, 0);
            process_ = -1;
        }
    }
    static bool answers()
    {
        jack_client_t* client = jack_client_open("knock", JackNoStartServer, nullptr);
        if (client == nullptr) return false;
        jack_client_close(client);
        return true;
    }

    int lock_{-1};
    pid_t process_{-1};
};

} // namespace bowarm::test
