// What the harnesses share: libFuzzer's entry (LLVM, "libFuzzer - a library for coverage-guided fuzz testing"), and how a promise that
// does not hold is told.
#pragma once

#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <span>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace bowarm::fuzz
{

inline void require(bool holds, const char* promise)
{
    if (holds) return;
    std::fprintf(stderr, "does not hold: %s\n", promise);
    std::abort();
}

inline std::string_view text_of(std::span<const std::uint8_t> bytes) { return {reinterpret_cast<const char*>(bytes.data()), bytes.size()}; }

// Hands out the bytes one by one; zeros when there are no more.
class Bytes
{
public:
    explicit Bytes(std::span<const std::uint8_t> bytes) : left_(bytes) {}
    std::uint8_t next()
    {
        if (left_.empty()) return 0;
        const std::uint8_t byte = left_.front();
        left_ = left_.subspan(1);
        return byte;
    }
    bool empty() const { return left_.empty(); }
    std::span<const std::uint8_t> rest() const { return left_; }

private:
    std::span<const std::uint8_t> left_;
};

} // namespace bowarm::fuzz
