#include "studio/toml_reader.hpp"

#include "studio/nearest_word.hpp"
#include "studio/toml_library.hpp"

#include <csignal>
#include <cstring>
#include <fcntl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <system_error>

namespace bowarm
{
namespace
{

constexpr rlim_t child_seconds = 2; // of a core

Problem problem(const std::filesystem::path& path, std::string what, std::string remedy)
{
    return {path.string(), std::move(what), std::move(remedy)};
}

void become_a_quiet_child()
{
    if (const int nowhere = ::open("/dev/null", O_WRONLY); nowhere >= 0) ::dup2(nowhere, STDERR_FILENO);
    for (const int number : {SIGSEGV, SIGABRT, SIGBUS, SIGILL, SIGFPE, SIGXCPU, SIGTERM, SIGINT, SIGHUP}) std::signal(number, SIG_DFL);
    sigset_t all;
    sigfillset(&all);
    sigprocmask(SIG_UNBLOCK, &all, nullptr);
    // An endless or deep text ends here, by the default action of SIGXCPU.  Not by the clock: a busy machine is no fault of the text.
    const rlimit time{child_seconds, child_seconds + 1};
    ::setrlimit(RLIMIT_CPU, &time);
}

// Whether the library comes back from this text, tried where a crash hurts nobody.
bool library_survives(const std::string& text)
{
    int ends[2];
    if (::pipe2(ends, O_CLOEXEC) != 0) throw std::system_error(errno, std::generic_category(), "pipe");
    const pid_t child = ::fork();
    if (child < 0) {
        const int error = errno;
        ::close(ends[0]);
        ::close(ends[1]);
        throw std::system_error(error, std::generic_category(), "fork");
    }
    if (child == 0) {
        become_a_quiet_child();
        parse_with_library(text);
        const char came_back = 1;
        const bool told = ::write(ends[1], &came_back, 1) == 1;
        ::_exit(told ? 0 : 1);
    }
    ::close(ends[1]);
    char answer = 0;
    ssize_t got = 0;
    do got = ::read(ends[0], &answer, 1);
    while (got < 0 && errno == EINTR);
    ::close(ends[0]);
    // The byte decides, not the exit status: somebody else's SIGCHLD handling may have taken that.
    while (::waitpid(child, nullptr, 0) < 0 && errno == EINTR) {
    }
    return got == 1;
}

struct OpenFile {
    int number{-1};
    ~OpenFile()
    {
        if (number >= 0) ::close(number);
    }
};

std::variant<std::string, Problem> bytes_of(const std::filesystem::path& path)
{
    // O_NONBLOCK: a pipe in the place of the file must not hold the service.
    const OpenFile file{::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)};
    if (file.number < 0) {
        const int error = errno;
        Problem out =
            problem(path, error == ENOENT || error == ENOTDIR ? "no such file" : std::string{"cannot be read: "} + std::strerror(error),
                    error == EACCES ? "give yourself the right to read it" : "check the path");
        out.missing_file = error == ENOENT || error == ENOTDIR;
        return out;
    }
    struct stat state {
    };
    if (::fstat(file.number, &state) != 0 || !S_ISREG(state.st_mode)) return problem(path, "not an ordinary file", "name a .toml file");
    std::string text(toml_bytes_at_most + 1, '\0');
    std::size_t size = 0;
    while (size < text.size()) {
        const ssize_t got = ::read(file.number, text.data() + size, text.size() - size);
        if (got < 0 && errno == EINTR) continue;
        if (got < 0) return problem(path, std::string{"cannot be read: "} + std::strerror(errno), "check the disk");
        if (got == 0) break;
        size += static_cast<std::size_t>(got);
    }
    text.resize(size);
    return text;
}

} // namespace

TomlRead read_toml_text(const std::filesystem::path& path, std::string text)
{
    if (auto found = byte_problem(path, text)) return *found;
    if (!library_survives(text)) {
        return problem(path, "the TOML reader cannot take this file",
                       "look for a name that is both a value and a [table], or for a list of many thousand parts");
    }
    auto parsed = parse_with_library(text);
    TomlFile file{path, std::move(text), {}};
    if (const auto* syntax = std::get_if<TomlSyntaxProblem>(&parsed)) {
        const std::string line = shown(file.line(syntax->place.line));
        return Problem{file.where(syntax->place), "not TOML: " + syntax->what + (line.empty() ? "" : ", in `" + line + "`"),
                       "texts stand in quotes, each key on its own line"};
    }
    file.root = std::get<TomlValue>(std::move(parsed));
    return file;
}

TomlRead read_toml_file(const std::filesystem::path& path)
{
    auto bytes = bytes_of(path);
    if (auto* found = std::get_if<Problem>(&bytes)) return *found;
    return read_toml_text(path, std::get<std::string>(std::move(bytes)));
}

} // namespace bowarm
