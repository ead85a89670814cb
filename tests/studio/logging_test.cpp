// The log a person or the journal reads: what repeats is not said for ever, and nothing else is lost.
#include "studio/logging.hpp"

#include <algorithm>
#include <cstdio>
#include <doctest/doctest.h>
#include <spdlog/spdlog.h>
#include <string>
#include <unistd.h>

using namespace bowarm;

namespace
{

// What is written to stderr while it lives.
class Stderr
{
public:
    Stderr() : before_(::dup(STDERR_FILENO)), file_(std::tmpfile()) { ::dup2(::fileno(file_), STDERR_FILENO); }
    ~Stderr()
    {
        ::dup2(before_, STDERR_FILENO);
        ::close(before_);
        std::fclose(file_);
    }
    Stderr(const Stderr&) = delete;
    Stderr& operator=(const Stderr&) = delete;

    int lines_with(const std::string& words)
    {
        std::string text(1 << 16, '\0');
        text.resize(static_cast<std::size_t>(std::max<ssize_t>(0, ::pread(::fileno(file_), text.data(), text.size(), 0))));
        int lines = 0;
        for (auto at = text.find(words); at != std::string::npos; at = text.find(words, at + 1)) ++lines;
        return lines;
    }

private:
    int before_;
    std::FILE* file_;
};

} // namespace

TEST_CASE("a fault that repeats, with whatever numbers, is said five times, and others are said beside it")
{
    Stderr heard;
    set_up_logging("info");
    for (int i = 0; i < 100; ++i) {
        spdlog::warn("port {} was lost", i);
        spdlog::info("take {} kept", i);
    }
    spdlog::error("the disk is full");
    CHECK(heard.lines_with("was lost") == 5);
    CHECK(heard.lines_with(" kept") == 100); // news, no fault
    CHECK(heard.lines_with("the disk is full") == 1);
    spdlog::set_level(spdlog::level::off);
}

TEST_CASE("a name from elsewhere begins no line of its own and steers no terminal")
{
    Stderr heard;
    set_up_logging("info");
    spdlog::info("input \"keys\": playing to \"{}\"", "synth\n<3>12:00:00 error: made up\x1b[2J\x7f d\xC3\xA9j\xC3\xA0");
    CHECK(heard.lines_with("\n") == 1);
    CHECK(heard.lines_with("synth?<3>12:00:00 error: made up?[2J? d\xC3\xA9j\xC3\xA0") == 1);
    spdlog::set_level(spdlog::level::off);
}

TEST_CASE("the log's level can be changed while it runs")
{
    Stderr heard;
    set_up_logging("error");
    spdlog::warn("not said");
    set_log_level("warning");
    spdlog::warn("said");
    CHECK(heard.lines_with("not said") == 0);
    CHECK(heard.lines_with("said") == 1);
    spdlog::set_level(spdlog::level::off);
}
