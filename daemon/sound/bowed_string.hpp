// A bowed string in physical units, for the sound of a take, the sounds of scenarios/stand_in, and tests: two delay lines that meet at the
// bow, and rosin friction there.
//   in       speed of the bow m/s (signed), force of the bow N, beta in (0, 0.5), period of the note in seconds
//   out      what the string does under the bow: stuck to it or sliding, and how fast; what it does to the bridge
//   source   M. E. McIntyre, R. T. Schumacher & J. Woodhouse, On the oscillations of musical instruments, J. Acoust. Soc.
//            Am. 74 (1983) 1325-1345 (from memory); the equations stand beside the code
//   left out stiffness of the string, width and give of the hair, the body's resonances
//   thread   any.  Errors: none.
#pragma once

#include "base/quantity.hpp"

#include <cstddef>
#include <vector>

namespace bowarm
{

// mu(u) = sliding + (sticking - sliding) / (1 + u / fall), u >= 0 the speed of sliding: hyperbolic, as the authors use it.
struct RosinCurve {
    double sticking{0.8}; // 0.8 and 0.3: the pair of K. Guettler's and A. Askenfelt's simulations (from memory)
    double sliding{0.3};
    MetresPerSecond fall{0.2}; // E. Schoonderwaldt, K. Guettler & A. Askenfelt 2008 (second-hand)

    constexpr double at(MetresPerSecond u) const { return sliding + (sticking - sliding) / (1 + u / fall); }
};

struct StringMake {
    KilogramsPerSecond impedance;
    KilogramsPerSecond bridge_resistance;
    RosinCurve rosin{};
    // Of the string as a rod that twists, over the transverse ones: impedance at the surface 3.3 and wave speed 5.2 (cello D string,
    // J. Woodhouse, from memory).  0: a string that cannot twist.
    double twist_impedance{3.3};
    double twist_speed{5.2};
    // Of a twist wave from each end.  Q = pi / (-2 ln 0.85) = 10, where strings have some 34 (from memory): the rest stands
    // in for the give of the hair and of the finger, which this model leaves out.
    double twist_return{0.85};
    Hertz brightness{8000};     // where the bridge's low-pass reaches -3 dB
    double bridge_spring{0.05}; // what holds the ends against a steady push: the losses rule above this share of the note's frequency
};

enum class Grip : signed char { sliding_back = -1, stuck = 0, sliding = 1 };

class BowedString
{
public:
    BowedString(const StringMake& make, Hertz sample_rate);

    void tune(Seconds period) { period_ = period.value * rate_; }
    // At rest, or moving as Helmholtz saw it: one corner that runs round, one slip a period.
    void be_still();
    void be_helmholtz(MetresPerSecond bow, Beta beta);

    Grip step(MetresPerSecond bow, Newtons force, Beta beta);

    // Of the hair over the string's surface, signed like the bow; 0 while they stick.
    MetresPerSecond sliding() const { return MetresPerSecond{sliding_}; }
    // Of the string on the bridge: Z (in - out), the velocity waves that come to the bridge and go back from it.
    Newtons bridge_force() const { return make_.impedance.value * Newtons{bridge_in_ - dull_}; }

private:
    // A wave on its way, read back a broken number of samples later (third-order Lagrange).
    class Delay
    {
    public:
        explicit Delay(std::size_t at_least);
        void clear();
        void put(double x);
        double after(double samples) const;

    private:
        std::vector<double> wave_;
        std::size_t next_{0};
    };
    struct Contact {
        Grip grip;
        double push; // friction force over twice the impedances in parallel, m/s
    };

    Contact rub(double free_slip, double load) const;
    double at_bridge(double wave);
    double twist_end(double wave, double& mean) const;

    StringMake make_;
    double rate_;
    double period_{0}; // samples
    Delay to_bridge_, to_nut_, twist_to_bridge_, twist_to_nut_;
    double bridge_in_{0}, bridge_out_{0}, dull_{0}, twist_mean_bridge_{0}, twist_mean_nut_{0};
    double sliding_{0};
    Grip grip_{Grip::stuck};
};

} // namespace bowarm
