#include "midi/byte_reader.hpp"

#include <utility>

namespace bowarm
{

namespace
{

constexpr const char* export_again = "save or export the file again";

} // namespace

void ByteReader::fail(std::size_t offset, std::string what, std::string remedy)
{
    throw BadFile{{offset, std::move(what), std::move(remedy)}};
}

void ByteReader::need(std::size_t count) const
{
    if (left() < count) fail(offset(), "the data end in the middle of an event", export_again);
}

std::uint8_t ByteReader::peek() const
{
    need(1);
    return bytes_[next_];
}

std::uint8_t ByteReader::byte()
{
    need(1);
    return bytes_[next_++];
}

std::uint16_t ByteReader::two_bytes()
{
    const unsigned high = byte();
    return static_cast<std::uint16_t>(high << 8 | byte());
}

std::uint32_t ByteReader::four_bytes()
{
    const std::uint32_t high = two_bytes();
    return high << 16 | two_bytes();
}

std::uint32_t ByteReader::variable_length()
{
    const std::size_t start = offset();
    std::uint32_t value = 0;
    for (int count = 0; count < 4; ++count) {
        const std::uint8_t next = byte();
        value = value << 7 | (next & 0x7FU);
        if ((next & 0x80) == 0) return value;
    }
    fail(start, "a variable-length number runs over four bytes", export_again);
}

std::span<const std::uint8_t> ByteReader::block(std::size_t count, const char* name)
{
    if (left() < count)
        fail(offset(), std::string{name} + " claims " + std::to_string(count) + " bytes, " + std::to_string(left()) + " are there",
             export_again);
    const auto found = bytes_.subspan(next_, count);
    next_ += count;
    return found;
}

} // namespace bowarm
