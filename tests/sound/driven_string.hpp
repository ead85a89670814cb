// STK's bowed string, drawn by our bow: the mapping from m/s, newtons and beta to the model's own quantities.
//
// The model (Debian's libstk 4.6, class Bowed, after Smith 1986 and McIntyre, Schumacher & Woodhouse 1983) is two delay
// lines that carry velocity waves, a one-pole filter with gain 0.95 for bridge, body and string losses, and BowTable:
//     dv      = bow velocity - velocity of the string under it
//     added   = dv * r(dv),  r(dv) = (|slope dv| + 0.75)^-4 kept in 0.01 .. 0.98
// where `added` goes out both ways.  Of it we use its string, filter, friction and loop as they are.  Not used: the
// envelope, the 0..128 controls and the body's resonances; the signal is the wave that arrives at the bridge.
//
//   speed   Model velocity = bow velocity in m/s, scale 1, signed by the direction.  The loop is homogeneous: when
//           velocities grow k times and the slope falls k times, dv * slope and so every r stay as they are.
//   place   Going to the bridge and back takes the share beta of the period.  The filter belongs to the bridge, so its delay
//           is taken from that side.  (Bowed::setFrequency takes it from the whole, which leaves the bow of a high note
//           nearly twice as far from the bridge as its position says.)
//   force   A friction force f adds f / (2 Z) to the waves, Z the string's wave impedance.  The table's largest added
//           velocity is at |slope dv| = 0.25, where r reaches 1: 0.25 / slope.  (d/dx of x (x + 0.75)^-4 is 0 at x = 0.25.)
//           Left of it the hair holds the string, right of it friction falls towards nothing.  The friction that holds
//           minus the friction that slides is dmu F in Schelleng's limits, so 0.25 / slope = dmu F / (2 Z):
//               slope = Z / (2 dmu F)    in s/m
//           With Schelleng's F_max = 2 Z v / (beta dmu) this is slope * (v / beta) = 0.25 F_max / F: at F_max the slip
//           of Helmholtz motion, v / beta, ends just where the table begins to hold.  So the upper limit comes out of
//           the model's own friction; nothing was adjusted by ear, by note or by string.
//   losses  The filter's pole p is fixed in samples (it delays low partials by p / (1 - p) of them), so that the same partial
//           would lose more the higher the note, and the more the lower the rate: 192 kHz with the pole as it is gives a G
//           string with hardly any loss and a top E whose slips drown in it.  What is kept is the loss of each partial that
//           the model has where it starts, 44.1 kHz and 220 Hz: a delay of 0.93 % of the period, whatever the note.
//   bridge  The gain is what a wave keeps at a bridge of resistance R, (R - Z) / (R + Z), with the instrument's R, the one
//           for which the engine's forces are made: 0.993 to 0.996.  The model's own 0.95 is R = 39 Z, 7 to 14 kg/s, a body
//           that takes ten times more and has no playable force nearer the bridge than about beta = 1/16.
//   no force  The bow is in the air, as in Bowed when bowing has not begun.
//   rate    192 kHz: linear interpolation between samples dulls and detunes high notes at 48 kHz.
//
//   One string each; a slur moves the finger at once, as Bowed::setFrequency does.  Not modelled: torsion, a friction
//   that depends on heat, the second direction of vibration, the hair's compliance.
#pragma once

#include "bow/force_limits.hpp"
#include "bow/plan.hpp"

#include <stk/Bowed.h>

#include <algorithm>

namespace bowarm::test
{

inline constexpr double sound_rate = 192000;

// Seconds a metre; force above 0.
inline double bow_table_slope(Newtons force, KilogramsPerSecond impedance, double friction_difference)
{
    return impedance.value / (2 * friction_difference * force.value);
}

// Of a velocity wave at a dash-pot bridge, without its sign.
inline double bridge_reflection(const StringContact& string)
{
    const double r = string.bridge_resistance.value;
    const double z = string.impedance.value;
    return (r - z) / (r + z);
}

class DrivenString final : private stk::Bowed
{
public:
    // Stk::setSampleRate(sound_rate) comes before.
    explicit DrivenString(const StringContact& string) : Bowed(lowest_hertz), string_(string)
    {
        adsr_.setValue(1);
        stringFilter_.setGain(bridge_reflection(string));
    }

    // The delays take a new length only when the note or the contact point has moved.
    void finger(Hertz note)
    {
        baseDelay_ = sound_rate / note.value;
        const double filter_delay = baseDelay_ * filter_share;
        stringFilter_.setPole(filter_delay / (1 + filter_delay));
        set_delays();
    }
    void set_bow(const Motion& bow)
    {
        bowDown_ = bow.force > Newtons{0};
        maxVelocity_ = bow.speed.value;
        if (bowDown_) bowTable_.setSlope(bow_table_slope(bow.force, string_.impedance, string_.friction_difference));
        if (bow.beta.value <= 0 || bow.beta.value == betaRatio_) return;
        betaRatio_ = bow.beta.value;
        set_delays();
    }
    // Velocity in m/s of the wave that arrives at the bridge; the force on the bridge goes with it.
    double next()
    {
        Bowed::tick();
        return bridgeDelay_.lastOut();
    }

private:
    static constexpr double lowest_hertz = 100;
    static constexpr double line_delay = 1; // samples: each delay line is read one sample after it was written to
    // Bowed's constructor at its own 44.1 kHz and its own first note, 220 Hz: p = 0.75 - 0.2 * 22050 / 44100.
    static constexpr double own_pole = 0.65;
    static constexpr double filter_share = own_pole / (1 - own_pole) * 220 / 44100;

    void set_delays()
    {
        bridgeDelay_.setDelay(std::max(0.0, baseDelay_ * (betaRatio_ - filter_share) - line_delay));
        neckDelay_.setDelay(baseDelay_ * (1 - betaRatio_) - line_delay);
    }

    StringContact string_;
};

} // namespace bowarm::test
