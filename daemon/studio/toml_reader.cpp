#include "studio/toml_reader.hpp"

#include "studio/nearest_word.hpp"
#include "studio/toml_library.hpp"

#include <csignal>
#include <cstring>
#include <fcntl.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <system_error>

namespace bowarm
{
namespace
{

constexpr std::size_t bytes_at_most = 256 * 1024;
constexpr int nesting_at_most = 16;
constexpr int key_parts_at_most = 16;
constexpr unsigned child_seconds = 2;

Problem problem(const std::filesystem::path& path, std::string what, std::string remedy)
{
    return {path.string(), std::move(what), std::move(remedy)};
}

// Length of the UTF-8 letter at the front; 0 when it is none (RFC 3629: no overlong forms, no surrogates, at most U+10FFFF).
std::size_t letter_length(std::string_view s)
{
    const auto byte = [&](std::size_t i) { return i < s.size() ? static_cast<unsigned char>(s[i]) : 0u; };
    const auto follows = [&](std::size_t i, unsigned low = 0x80, unsigned high = 0xBF) { return byte(i) >= low && byte(i) <= high; };
    const unsigned first = byte(0);
    if (first < 0x80) return 1;
    if (first >= 0xC2 && first <= 0xDF) return follows(1) ? 2 : 0;
    if (first >= 0xE0 && first <= 0xEF) {
        const unsigned low = first == 0xE0 ? 0xA0 : 0x80;
        const unsigned high = first == 0xED ? 0x9F : 0xBF;
        return follows(1, low, high) && follows(2) ? 3 : 0;
    }
    if (first >= 0xF0 && first <= 0xF4) {
        const unsigned low = first == 0xF0 ? 0x90 : 0x80;
        const unsigned high = first == 0xF4 ? 0x8F : 0xBF;
        return follows(1, low, high) && follows(2) && follows(3) ? 4 : 0;
    }
    return 0;
}

// Walks the bytes outside strings and comments; knows just enough of TOML to count brackets and dots.
class ByteScan
{
public:
    ByteScan(const std::filesystem::path& path, std::string_view text) : path_(path), text_(text) {}

    std::optional<Problem> run()
    {
        while (at_ < text_.size()) {
            if (text_[at_] == '\0') return here("a NUL byte", "write the file as plain text in UTF-8");
            const std::size_t length = letter_length(text_.substr(at_));
            if (length == 0) return here("not UTF-8", "save the file as UTF-8");
            if (auto found = step()) return found;
            at_ += length;
        }
        return std::nullopt;
    }

private:
    enum class Inside : std::uint8_t { nothing, comment, string, long_string };

    bool three(char quote) const
    {
        return at_ + 2 < text_.size() && text_[at_] == quote && text_[at_ + 1] == quote && text_[at_ + 2] == quote;
    }

    std::optional<Problem> step()
    {
        const char c = text_[at_];
        if (c == '\n') {
            ++line_;
            line_start_ = at_ + 1;
            dots_ = 0;
            if (inside_ != Inside::long_string) inside_ = Inside::nothing; // other strings end with their line
            return std::nullopt;
        }
        switch (inside_) {
        case Inside::comment:
            return std::nullopt;
        case Inside::string:
        case Inside::long_string:
            in_string(c);
            return std::nullopt;
        case Inside::nothing:
            return outside(c);
        }
        return std::nullopt;
    }

    void in_string(char c)
    {
        if (c == '\\' && quote_ == '"' && at_ + 1 < text_.size() && (text_[at_ + 1] == '"' || text_[at_ + 1] == '\\')) {
            ++at_;
        } else if (inside_ == Inside::string && c == quote_) {
            inside_ = Inside::nothing;
        } else if (inside_ == Inside::long_string && three(quote_)) {
            at_ += 2;
            inside_ = Inside::nothing;
        }
    }

    std::optional<Problem> outside(char c)
    {
        if (c == '#') {
            inside_ = Inside::comment;
        } else if (c == '"' || c == '\'') {
            quote_ = c;
            inside_ = three(c) ? Inside::long_string : Inside::string;
            if (inside_ == Inside::long_string) at_ += 2;
        } else if (c == '[' || c == '{') {
            dots_ = 0;
            if (++depth_ > nesting_at_most) return here("nested more than 16 deep", "nothing here needs more than 4");
        } else if (c == ']' || c == '}') {
            depth_ = std::max(0, depth_ - 1);
        } else if (c == '=' || c == ',') {
            dots_ = 0;
        } else if (c == '.' && ++dots_ >= key_parts_at_most) {
            return here("a key of more than 16 parts", "nothing here needs more than 3");
        }
        return std::nullopt;
    }

    Problem here(std::string what, std::string remedy) const
    {
        Problem out = problem(path_, std::move(what), std::move(remedy));
        out.where.append(":").append(std::to_string(line_)).append(":").append(std::to_string(at_ - line_start_ + 1));
        return out;
    }

    const std::filesystem::path& path_;
    std::string_view text_;
    std::size_t at_{0}, line_{1}, line_start_{0};
    Inside inside_{Inside::nothing};
    char quote_{'"'};
    int depth_{0}, dots_{0};
};

void become_a_quiet_child()
{
    if (const int nowhere = ::open("/dev/null", O_WRONLY); nowhere >= 0) ::dup2(nowhere, STDERR_FILENO);
    for (const int number : {SIGSEGV, SIGABRT, SIGBUS, SIGILL, SIGFPE, SIGALRM, SIGTERM, SIGINT, SIGHUP}) std::signal(number, SIG_DFL);
    sigset_t all;
    sigfillset(&all);
    sigprocmask(SIG_UNBLOCK, &all, nullptr);
    ::alarm(child_seconds); // an endless or deep text ends here, by the default action of SIGALRM
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
    std::string text(bytes_at_most + 1, '\0');
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

const TomlValue* TomlValue::find(std::string_view key) const
{
    const auto found = std::find_if(entries.begin(), entries.end(), [&](const auto& entry) { return entry.first == key; });
    return found == entries.end() ? nullptr : &found->second;
}

std::string TomlFile::where(TomlPlace place) const
{
    if (place.line == 0) return path.string();
    return path.string() + ":" + std::to_string(place.line) + ":" + std::to_string(place.column);
}

std::string_view TomlFile::line(std::size_t number) const
{
    std::string_view rest{text};
    for (std::size_t i = 1; i < number; ++i) {
        const auto end = rest.find('\n');
        if (end == std::string_view::npos) return {};
        rest.remove_prefix(end + 1);
    }
    if (number == 0) return {};
    rest = rest.substr(0, rest.find('\n'));
    const auto first = rest.find_first_not_of(" \t\r");
    if (first == std::string_view::npos) return {};
    return rest.substr(first, rest.find_last_not_of(" \t\r") - first + 1);
}

std::optional<Problem> byte_problem(const std::filesystem::path& path, std::string_view text)
{
    if (text.size() > bytes_at_most) return problem(path, "larger than 256 KiB", "a configuration is a few pages; is this the right file?");
    return ByteScan{path, text}.run();
}

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
