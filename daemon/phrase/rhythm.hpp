// What the last few notes were like: the memory from which expectations are made.
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"
#include "base/time.hpp"

#include <array>
#include <cstddef>

namespace bowarm
{

// One finished note (or chord): from its onset to the next onset, and how much of that the key was down.
struct PastNote {
    Seconds interval;
    Seconds held;
    bool slurred{false}; // the next one was slurred to it
    bool reached{false}; // it was slurred to the one before
};

// A dotted pair is 3 to 1; this is what hands make of it.  ratio: the long interval over the short one.
constexpr bool is_dotted(double ratio) { return ratio > 2.3 && ratio < 3.7; }

// Long and short as players hook them: dotted pairs, and in compound meters pairs of two to one.
constexpr bool is_hooked_pair(double ratio, bool compound) { return is_dotted(ratio) || (compound && ratio > 1.6 && ratio < 2.4); }

class Rhythm
{
public:
    void onset(Time at, bool slurred) noexcept; // of a note that joins no chord
    void key_up(Time at) noexcept;              // the last sounding key came up
    void was_separate() noexcept;               // the newest onset was no slur after all

    // Seconds a note starting now is likely to last, from the intervals just heard; a default when none were.
    Seconds expected_interval() const noexcept;
    // A dotted figure, or in a compound meter one of two to one, is under way and the note starting now is its short one: long, short, long
    // were just heard.
    bool short_after_long(bool compound) const noexcept;
    // The last lengths differ, as in a tune; false: a run of even notes.
    bool uneven() const noexcept;
    // Whether any interval has been heard to expect it from.
    bool known() const { return count_ > 0; }
    // The note that the newest onset has ended; nullptr when nothing was heard or after a rest that says nothing of it.
    const PastNote* newest() const { return count_ > 0 ? &past_[0] : nullptr; }
    // Notes a second, from the last intervals; zero when none were heard.
    Hertz rate() const noexcept;
    // The same from all that is remembered: slower to follow, and steadier.
    Hertz steady_rate() const noexcept;
    void forget() noexcept;

private:
    static constexpr std::size_t memory = 6;
    void remember(const PastNote& note) noexcept;
    Hertz rate_of(std::size_t most) const noexcept;

    std::array<PastNote, memory> past_{}; // newest first
    std::size_t count_{0};
    bool open_{false};    // a note has begun and its interval is not known yet
    bool reached_{false}; // that note was slurred to the one before
    Time onset_;
    Seconds held_;
};

} // namespace bowarm
