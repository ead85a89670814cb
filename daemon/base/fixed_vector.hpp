// A vector with a ceiling and no heap.
//   Errors: push_back on a full one is refused and says so.  Real-time safe: yes.
#pragma once

#include <array>
#include <cassert>
#include <cstddef>

namespace bowarm
{

template <class T, std::size_t N> class FixedVector
{
public:
    constexpr bool push_back(const T& item) noexcept
    {
        if (size_ == N) return false;
        items_[size_++] = item;
        return true;
    }
    constexpr void pop_back() noexcept
    {
        assert(size_ > 0);
        --size_;
    }
    // Keeps the order of the rest.
    constexpr void erase_at(std::size_t index) noexcept
    {
        assert(index < size_);
        for (std::size_t i = index + 1; i < size_; ++i) items_[i - 1] = items_[i];
        --size_;
    }
    constexpr void clear() noexcept { size_ = 0; }

    constexpr std::size_t size() const noexcept { return size_; }
    static constexpr std::size_t capacity() noexcept { return N; }
    constexpr bool empty() const noexcept { return size_ == 0; }
    constexpr bool full() const noexcept { return size_ == N; }

    constexpr T& operator[](std::size_t i) noexcept
    {
        assert(i < size_);
        return items_[i];
    }
    constexpr const T& operator[](std::size_t i) const noexcept
    {
        assert(i < size_);
        return items_[i];
    }
    constexpr T& back() noexcept { return (*this)[size_ - 1]; }
    constexpr const T& back() const noexcept { return (*this)[size_ - 1]; }
    constexpr T* data() noexcept { return items_.data(); }
    constexpr const T* data() const noexcept { return items_.data(); }
    constexpr T* begin() noexcept { return items_.data(); }
    constexpr T* end() noexcept { return items_.data() + size_; }
    constexpr const T* begin() const noexcept { return items_.data(); }
    constexpr const T* end() const noexcept { return items_.data() + size_; }

private:
    std::array<T, N> items_{};
    std::size_t size_{0};
};

} // namespace bowarm
