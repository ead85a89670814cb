// The wood: what the bridge is pushed with becomes what is heard.  The same for every note, so it is one filter at the end.
//   thread   one at a time.  Real-time safe: yes.
#pragma once

#include <array>

namespace bowarm
{

// A section of second order.
//   source   R. Bristow-Johnson, Cookbook formulae for audio EQ biquad filter coefficients
class Section
{
public:
    static Section peak(double hertz, double q, double decibels, double rate);
    static Section high_pass(double hertz, double q, double rate);
    static Section low_pass(double hertz, double q, double rate);
    double next(double x) noexcept
    {
        const double y = b0_ * x + m1_;
        m1_ = b1_ * x - a1_ * y + m2_;
        m2_ = b2_ * x - a2_ * y;
        return y;
    }

private:
    double b0_{1}, b1_{0}, b2_{0}, a1_{0}, a2_{0};
    double m1_{0}, m2_{0};
};

class Body
{
public:
    // scale: its resonances over a violin's.
    Body(double scale, double rate);
    double next(double x) noexcept
    {
        for (Section& section : sections_) x = section.next(x);
        return x;
    }

private:
    std::array<Section, 8> sections_;
};

} // namespace bowarm
