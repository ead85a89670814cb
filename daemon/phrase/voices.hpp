// Slur or double stop: what an overlap over a key that is still down means, judged at the onset without waiting.
//   A hand that plays legato lets the older key up soon after the newer went down; a hand that plays two voices leaves it down.
//   At the onset both look the same, so the rule goes by what this hand has done so far, by how long the older key had been
//   held, by the interval, and by whether the two can be played together at all.  Each wrong answer changes the next.
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"

namespace bowarm
{

// Semitones up to which a newer note is the older one's neighbour: such a pair is a trill or a step of a melody.
inline constexpr int step = 2;

class Voices
{
public:
    // An older key came up that long after a newer one went down: the overlap that this hand makes.
    void overlapped(Seconds overlap) noexcept;
    // A key stayed down and sounded on while another voice moved.
    void heard_two() noexcept;
    // A note taken for a voice of its own went with the next note after all.
    void heard_one() noexcept;

    // Whether a single note, held for so long, sounds on under the next one though nothing has shown it to be a voice of its own.
    //   interval in semitones, 0 or more; expected: how long notes have been lasting
    bool sounds_on(int interval, Seconds held, Seconds expected) const noexcept;
    // How long an overlap has to last before the older key was no finger left lying.
    Seconds longer_than_legato() const noexcept;
    // How long an older key that fell silent under a slur has to stay down before it is brought back.
    Seconds patience(int interval) const noexcept;

private:
    Seconds usual_overlap_{0.06};
    bool two_voices_{false};
    bool may_guess_{true};
};

} // namespace bowarm
