// A tune that stays on the low strings: what players strike down again and again at the frog when it is loud, as an even run, an
// accompaniment of repeated notes, or an arpeggio that only passes through the low strings is not.
//   in       every note that begins, of a chord one
//   source   common practice, no source; the length of the memory is our own number
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "midi/message.hpp"

#include <array>
#include <cstddef>

namespace bowarm
{

class LowTune
{
public:
    static constexpr std::size_t memory = 9;

    void note(Midi7 pitch, bool low) noexcept
    {
        low_ = low ? (low_ < memory ? low_ + 1 : memory) : 0;
        last_[next_] = pitch;
        next_ = (next_ + 1) % memory;
    }

    // As many notes as are remembered were low, and they were not a few notes repeated.
    bool under_way() const noexcept
    {
        if (low_ < memory) return false;
        std::size_t different = 0;
        for (std::size_t i = 0; i < memory; ++i) different += is_new(i) ? 1 : 0;
        return different >= different_least;
    }

private:
    static constexpr std::size_t different_least = 4;

    bool is_new(std::size_t i) const noexcept
    {
        for (std::size_t before = 0; before < i; ++before)
            if (last_[before] == last_[i]) return false;
        return true;
    }

    std::array<Midi7, memory> last_{};
    std::size_t next_{0};
    std::size_t low_{0}; // notes in a row
};

} // namespace bowarm
