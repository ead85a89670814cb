// A queue from one thread to one other.
//   thread   exactly one producer and one consumer; each keeps to its own half.
//   Real-time safe: yes, wait-free, no allocation after construction.
//   Errors: push answers false when full (the caller counts it), pop answers false when empty.
#pragma once

#include <array>
#include <atomic>
#include <bit>
#include <cstddef>
#include <type_traits>

namespace bowarm
{

template <class T, std::size_t N>
requires std::is_trivially_copyable_v<T> &&(std::has_single_bit(N)) class Ring
{
public:
    bool push(const T& item) noexcept
    {
        const auto w = written_.load(std::memory_order_relaxed);
        if (w - read_.load(std::memory_order_acquire) == N) return false;
        slots_[w % N] = item;
        written_.store(w + 1, std::memory_order_release);
        return true;
    }

    bool pop(T& item) noexcept
    {
        const auto r = read_.load(std::memory_order_relaxed);
        if (written_.load(std::memory_order_acquire) == r) return false;
        item = slots_[r % N];
        read_.store(r + 1, std::memory_order_release);
        return true;
    }

    // Either side may ask; the answer may be old by the time it is read.
    std::size_t size() const noexcept { return written_.load(std::memory_order_acquire) - read_.load(std::memory_order_acquire); }
    static constexpr std::size_t capacity() noexcept { return N; }

private:
    std::array<T, N> slots_{};
    alignas(64) std::atomic<std::size_t> written_{0}; // the producer writes
    alignas(64) std::atomic<std::size_t> read_{0};    // the consumer writes
};

} // namespace bowarm
