// The bouncing bow: a stick that pivots near the frog on its stretched hair.
//   in       distances along the hair from the frog, metres; rates in bounces a second
//   source   stretched string and pivot, statics: f = sqrt(S l r / ((l - r) I)) / 2 pi, S hair tension, l hair length,
//            r distance of the contact, I moment of inertia about the frog.  A. Askenfelt & K. Guettler (TMH-QPSR 38,
//            1997; Catgut Acoust. Soc. J. 3, 1998) report that measured rates follow such a curve up to about two thirds
//            of the hair.
//   thread   any, pure.  Real-time safe: yes.  Errors: none.
#pragma once

#include "base/quantity.hpp"

namespace bowarm
{

using KilogramSquareMetres = Quantity<struct KilogramSquareMetresTag>;

struct BouncingBow {
    Newtons tension;
    Metres hair;                  // between frog and tip
    KilogramSquareMetres inertia; // about the frog
    double restitution{0.7};      // speed after a bounce over speed before; no published value found, our own guess
};

Hertz natural_rate(const BouncingBow& bow, Metres contact) noexcept;
// Where the bow bounces by itself at that rate: the inverse of the above.
Metres bouncing_place(const BouncingBow& bow, Hertz rate) noexcept;

// A thrown bow: 2 to 6 bounces usual, 10 to 20 touches a second.  Common practice, no source.
inline constexpr Seconds thrown_interval{0.1};
inline constexpr int thrown_contacts = 6;

// Contact k of a thrown bow, from 0: when it comes, and how hard against the first.
struct Contact {
    Seconds at;
    double force{1};
};
// Ballistics: each flight lasts as long as the one before times the restitution, and lands with that share of its speed.
Contact ricochet_contact(const BouncingBow& bow, Seconds first_interval, int k) noexcept;

} // namespace bowarm
