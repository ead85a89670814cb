// A short text in a fixed array, closed by zero bytes.
#pragma once

#include <algorithm>
#include <array>
#include <string_view>

namespace bowarm
{

// Cuts what does not fit before the closing zero; readers of files have checked the length before.
template <std::size_t N> void put_text(std::string_view text, std::array<char, N>& into)
{
    into.fill('\0');
    std::copy_n(text.begin(), std::min(text.size(), N - 1), into.begin());
}

template <std::size_t N> std::string_view text_of(const std::array<char, N>& from)
{
    return {from.data(), static_cast<std::size_t>(std::find(from.begin(), from.end(), '\0') - from.begin())};
}

} // namespace bowarm
