// Logical time: whole nanoseconds, so that sums never depend on their order.
//   A Time is a moment, a Duration a stretch; only what makes sense between them compiles.
//   thread   any, pure.  Real-time safe: yes.  Errors: none; the caller keeps sums below 292 years.
#pragma once

#include "base/quantity.hpp"

#include <compare>
#include <cstdint>
#include <limits>

namespace bowarm
{

struct Duration {
    std::int64_t ns{};

    constexpr auto operator<=>(const Duration&) const = default;
    friend constexpr Duration operator+(Duration a, Duration b) { return {a.ns + b.ns}; }
    friend constexpr Duration operator-(Duration a, Duration b) { return {a.ns - b.ns}; }
    friend constexpr Duration operator*(Duration a, std::int64_t k) { return {a.ns * k}; }
};

struct Time {
    std::int64_t ns{};

    constexpr auto operator<=>(const Time&) const = default;
    static constexpr Time never() { return {std::numeric_limits<std::int64_t>::max()}; }
    friend constexpr Duration operator-(Time a, Time b) { return {a.ns - b.ns}; }
    friend constexpr Time operator+(Time t, Duration d) { return {t.ns + d.ns}; }
    friend constexpr Time operator-(Time t, Duration d) { return {t.ns - d.ns}; }
};

constexpr Duration milliseconds(std::int64_t n) { return {n * 1'000'000}; }
constexpr Seconds to_seconds(Duration d) { return Seconds{static_cast<double>(d.ns) * 1e-9}; }
// Rounds towards zero; for |s| below 9e9 seconds.
constexpr Duration to_duration(Seconds s) { return {static_cast<std::int64_t>(s.value * 1e9)}; }

} // namespace bowarm
