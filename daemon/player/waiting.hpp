// Gestures that wait for the notes that may yet join them, in the order in which they came.
//   thread   the player's.  Real-time safe: yes.
//   Errors   a full one says so; the caller lets the oldest go early.
#pragma once

#include "hear/hear.hpp"

#include <array>
#include <cassert>
#include <cstddef>

namespace bowarm
{

class Waiting
{
public:
    bool empty() const noexcept { return size_ == 0; }
    bool full() const noexcept { return size_ == limit; }
    std::size_t size() const noexcept { return size_; }
    // 0 is the oldest.
    const Gesture& operator[](std::size_t i) const noexcept
    {
        assert(i < size_);
        return items_[(first_ + i) % limit];
    }
    void push(const Gesture& gesture) noexcept
    {
        assert(!full());
        items_[(first_ + size_++) % limit] = gesture;
    }
    // Before its time; the others keep their order.
    Gesture take(std::size_t i) noexcept
    {
        const Gesture taken = (*this)[i];
        for (; i > 0; --i) items_[(first_ + i) % limit] = items_[(first_ + i - 1) % limit];
        pop();
        return taken;
    }
    Gesture pop() noexcept
    {
        assert(!empty());
        const Gesture oldest = items_[first_];
        first_ = (first_ + 1) % limit;
        --size_;
        return oldest;
    }

private:
    static constexpr std::size_t limit = 1024; // a cable brings 520 messages in half a second, the longest wait
    std::array<Gesture, limit> items_{};
    std::size_t first_{0};
    std::size_t size_{0};
};

} // namespace bowarm
