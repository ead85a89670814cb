// How many bytes a player may put on a DIN cable, in logical time: a token bucket of two levels, kept as two moments.
//   in       the bytes of a bundle or a value that wants to go
//   out      the earliest moment at which it may
//   rate     31 250 baud, 10 bits a byte: 320 us a byte, without running status (IEC 63035:2017, MIDI 1.0 electrical
//            specification); shared equally, so that each of n players has the nth part of it
//   depth    294 bytes a player: 288, the largest bundle, that only bundles may use, and 6, the largest value, for values.
//   holds    What leaves a player in any stretch of w seconds is at most 294 + w / (n * 320 us) bytes, on the cable of n players
//            294 n + w / 320 us.  A bundle leaves at the same moment whether values are sent or not: values never use its room,
//            and their own room, at most 6 bytes deep, is beside it.
//   method   generic cell rate algorithm, virtual scheduling (ITU-T I.371, from memory); whole nanoseconds, nothing is rounded
//   thread   the player's.  Real-time safe: yes.  Errors: none; a bundle of more than 288 bytes is the caller's mistake (assert).
#pragma once

#include "base/time.hpp"
#include "target/target_spec.hpp"

#include <cassert>
#include <limits>

namespace bowarm
{

class WireBudget
{
public:
    static constexpr int bundle_bytes = 3 * static_cast<int>(bundle_limit);
    static constexpr int value_bytes = 6;
    static constexpr Duration byte_length{320'000};

    explicit WireBudget(int players) : byte_(byte_length * players) { assert(players > 0); }

    Time bundle_from(int bytes) const noexcept
    {
        assert(bytes <= bundle_bytes);
        return bundles_clear_ - byte_ * (bundle_bytes - bytes);
    }
    Time value_from(int bytes) const noexcept { return all_clear_ - byte_ * (value_bytes - bytes); }
    void bundle_left(Time at, int bytes) noexcept
    {
        bundles_clear_ = later(bundles_clear_, at) + byte_ * bytes;
        all_clear_ = later(all_clear_, at) + byte_ * bytes;
    }
    void value_left(Time at, int bytes) noexcept { all_clear_ = later(all_clear_, at) + byte_ * bytes; }

private:
    static constexpr Time long_ago{std::numeric_limits<std::int64_t>::min() / 2};
    static Time later(Time a, Time b) noexcept { return a < b ? b : a; }

    Duration byte_;                // how long one byte takes of this player's share
    Time bundles_clear_{long_ago}; // when the share has carried all bundles, if there were nothing else
    Time all_clear_{long_ago};     // when it has carried everything
};

} // namespace bowarm
