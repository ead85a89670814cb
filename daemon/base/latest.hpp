// The newest value, handed from one writer to one reader; older ones are overwritten.
//   thread   one writer (write), one reader (read).
//   Real-time safe: yes, wait-free, three slots, no allocation.
#pragma once

#include <array>
#include <atomic>
#include <cstdint>
#include <type_traits>

namespace bowarm
{

template <class T>
requires std::is_trivially_copyable_v<T>
class Latest
{
public:
    void write(const T& value) noexcept
    {
        slots_[back_] = value;
        back_ = middle_.exchange(back_ | fresh, std::memory_order_acq_rel) & index;
    }

    // True when the value is newer than the one read before.
    bool read(T& value) noexcept
    {
        const bool is_new = (middle_.load(std::memory_order_acquire) & fresh) != 0;
        if (is_new) front_ = middle_.exchange(front_, std::memory_order_acq_rel) & index;
        value = slots_[front_];
        return is_new;
    }

private:
    static constexpr std::uint8_t index = 3;
    static constexpr std::uint8_t fresh = 4;

    std::array<T, 3> slots_{};
    std::atomic<std::uint8_t> middle_{1}; // both
    std::uint8_t back_{0};                // writer's own
    std::uint8_t front_{2};               // reader's own
};

} // namespace bowarm
