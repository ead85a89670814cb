#include "midi/ports/library_lines.hpp"

#include <jack/jack.h>

#include <iostream>
#include <mutex>
#include <set>
#include <streambuf>

namespace bowarm
{
namespace
{

class Lines
{
public:
    void add(std::string line)
    {
        if (line.empty()) return;
        const std::lock_guard lock{mutex_};
        if (waiting_.size() < 64) {
            waiting_.push_back(std::move(line));
        } else {
            ++dropped_;
        }
    }
    std::vector<std::string> take()
    {
        const std::lock_guard lock{mutex_};
        std::vector<std::string> lines = std::move(waiting_);
        waiting_.clear();
        if (dropped_ != 0) lines.push_back(std::to_string(dropped_) + " more lines of the MIDI libraries were dropped");
        dropped_ = 0;
        return lines;
    }

private:
    std::mutex mutex_;
    std::vector<std::string> waiting_;
    std::size_t dropped_{0};
};

// Lives as long as the process: library threads may write while static objects are destroyed.
Lines& lines()
{
    static Lines* const all = new Lines;
    return *all;
}

// Cuts what is written into lines.  Several threads of the libraries write at once.
class LineBuffer final : public std::streambuf
{
protected:
    int_type overflow(int_type c) override
    {
        if (traits_type::eq_int_type(c, traits_type::eof())) return traits_type::not_eof(c);
        const std::lock_guard lock{mutex_};
        take(traits_type::to_char_type(c));
        return c;
    }
    std::streamsize xsputn(const char* text, std::streamsize size) override
    {
        const std::lock_guard lock{mutex_};
        for (std::streamsize i = 0; i < size; ++i) take(text[i]);
        return size;
    }

private:
    void take(char c)
    {
        if (c != '\n' && line_.size() < 500) {
            line_.push_back(c);
            return;
        }
        lines().add(std::move(line_));
        line_.clear();
    }
    std::mutex mutex_;
    std::string line_;
};

// libjack says the same few lines at every try to reach a server that is not there: each is kept once.
class SaidOnce
{
public:
    bool is_new(const std::string& line)
    {
        const std::lock_guard lock{mutex_};
        if (said_.size() >= 64) said_.clear();
        return said_.insert(line).second;
    }

private:
    std::mutex mutex_;
    std::set<std::string> said_;
};

void add_text(const char* text)
{
    static SaidOnce* const said = new SaidOnce;
    if (std::string line = text == nullptr ? "" : text; said->is_new(line)) lines().add(std::move(line));
}

} // namespace

// The buffer outlives the guard: a library thread may be in the middle of a line.
LibraryLines::LibraryLines()
{
    static LineBuffer* const buffer = new LineBuffer;
    before_ = std::cerr.rdbuf(buffer);
    jack_set_error_function(add_text);
    jack_set_info_function(add_text);
}

LibraryLines::~LibraryLines() { std::cerr.rdbuf(before_); }

std::vector<std::string> take_library_lines() { return lines().take(); }

void add_library_line(std::string line) { lines().add(std::move(line)); }

} // namespace bowarm
