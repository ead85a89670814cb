// Reads the numbers of a Standard MIDI File and knows where it stands; every step is checked against the end.
//   Errors   BadFile, caught by read_standard_file and handed on as a value.
//   thread   any.  Real-time safe: no.
#pragma once

#include "midi/standard_file.hpp"

#include <cstddef>
#include <cstdint>
#include <span>

namespace bowarm
{

struct BadFile {
    FileProblem problem;
};

class ByteReader
{
public:
    // Offsets in problems count from `offset`, the place of the first byte in the whole file.
    explicit ByteReader(std::span<const std::uint8_t> bytes, std::size_t offset = 0) : bytes_(bytes), offset_(offset) {}

    std::size_t left() const { return bytes_.size() - next_; }
    bool at_end() const { return left() == 0; }
    std::size_t offset() const { return offset_ + next_; }

    std::uint8_t peek() const;
    std::uint8_t byte();
    std::uint16_t two_bytes();
    std::uint32_t four_bytes();
    std::uint32_t variable_length();
    // The next `count` bytes; `name` says in the problem what they were to be.
    std::span<const std::uint8_t> block(std::size_t count, const char* name);

    [[noreturn]] static void fail(std::size_t offset, std::string what, std::string remedy);

private:
    void need(std::size_t count) const;

    std::span<const std::uint8_t> bytes_;
    std::size_t offset_;
    std::size_t next_{0};
};

} // namespace bowarm
