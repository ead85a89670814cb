#include "phrase/voices.hpp"

namespace bowarm
{
namespace
{

// Common practice, no source; the figures in DEVELOPERS.md say how they do over hands whose overlaps are drawn from 5 to 120 ms.
constexpr Seconds longest_overlap{0.4}; // a longer one is a held note
constexpr double forgetting = 0.1;      // share of a shorter overlap in the memory
constexpr double lying = 1.5;           // times the usual overlap, then the key is held
constexpr Seconds lying_least{0.1};
constexpr double patient = 2.5; // times the usual overlap, then it is brought back
constexpr Seconds patience_least{0.18};
constexpr Seconds patience_most{0.45};
constexpr Seconds step_patience{0.6}; // a slow trill keeps its lower key down
// A guess needs a long note: against what notes have been lasting, and in itself.
constexpr double long_against_expected = 1.4; // which has the note itself in it: about twice the notes before
constexpr Seconds long_in_itself{1.0};

// Thirds, sixths, octaves, tenths, and the fifth: what a player would choose to sound together.
bool is_consonant(int interval)
{
    switch (interval) {
    case 3:
    case 4:
    case 7:
    case 8:
    case 9:
    case 12:
    case 15:
    case 16:
        return true;
    default:
        return false;
    }
}

} // namespace

void Voices::overlapped(Seconds overlap) noexcept
{
    if (overlap > longest_overlap) return;
    usual_overlap_ = overlap > usual_overlap_ ? overlap : usual_overlap_ * (1 - forgetting) + overlap * forgetting;
}

void Voices::heard_two() noexcept { two_voices_ = may_guess_ = true; }
void Voices::heard_one() noexcept { two_voices_ = may_guess_ = false; }

bool Voices::sounds_on(int interval, Seconds held, Seconds expected) const noexcept
{
    if (interval <= step) return false;
    if (two_voices_) return true;
    return may_guess_ && is_consonant(interval) && held >= long_in_itself && held >= expected * long_against_expected;
}

Seconds Voices::longer_than_legato() const noexcept
{
    const Seconds s = usual_overlap_ * lying;
    return s < lying_least ? lying_least : s;
}

Seconds Voices::patience(int interval) const noexcept
{
    return interval <= step ? step_patience : clamp(usual_overlap_ * patient, patience_least, patience_most);
}

} // namespace bowarm
