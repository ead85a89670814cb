// What RtMidi and libjack would have written to stderr, gathered for our own log.
//   RtMidi's worker threads write to std::cerr, and for a lost ALSA event that line is the only sign (RtMidi 5.0.0).
//   thread   any; one lock of its own, never taken by the engine.  Real-time safe: no.
//   Errors   none: past 64 waiting lines the newest is dropped and counted; a line that libjack repeats is dropped.
#pragma once

#include <cstddef>
#include <iosfwd>
#include <string>
#include <vector>

namespace bowarm
{

// Takes over std::cerr and libjack's two message functions; std::cerr is given back at the end.  One at a time.
class LibraryLines
{
public:
    LibraryLines();
    ~LibraryLines();
    LibraryLines(const LibraryLines&) = delete;
    LibraryLines& operator=(const LibraryLines&) = delete;

private:
    std::streambuf* before_;
};
// The lines since the last call; a last line tells how many were dropped.
std::vector<std::string> take_library_lines();
void add_library_line(std::string line);

} // namespace bowarm
