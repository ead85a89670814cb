#include "sound/bowed_string.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <numbers>

namespace bowarm
{
namespace
{

constexpr double lowest_note_hz = 30;
constexpr double interpolation_ahead = 2; // samples that third-order Lagrange reads past its place

} // namespace

// A power of two, so that going round is a mask.
BowedString::Delay::Delay(std::size_t at_least) : wave_(std::bit_ceil(at_least), 0.0) {}

void BowedString::Delay::clear() { std::fill(wave_.begin(), wave_.end(), 0.0); }

void BowedString::Delay::put(double x)
{
    wave_[next_] = x;
    next_ = (next_ + 1) & (wave_.size() - 1);
}

// What was put in so many samples ago; 1 is the newest.
double BowedString::Delay::after(double samples) const
{
    const double s = std::max(samples, interpolation_ahead);
    const auto whole = static_cast<std::size_t>(s);
    const double d = s - static_cast<double>(whole);
    const std::size_t mask = wave_.size() - 1;
    const std::size_t place = next_ - whole;
    const auto back = [&](std::size_t more) { return wave_[(place - more) & mask]; };
    return -d * (d - 1) * (d - 2) / 6 * wave_[(place + 1) & mask] + (d + 1) * (d - 1) * (d - 2) / 2 * back(0) -
           (d + 1) * d * (d - 2) / 2 * back(1) + (d + 1) * d * (d - 1) / 6 * back(2);
}

BowedString::BowedString(const StringMake& make, Hertz sample_rate)
    : make_(make), rate_(sample_rate.value), to_bridge_(static_cast<std::size_t>(sample_rate.value / lowest_note_hz) + 8),
      to_nut_(static_cast<std::size_t>(sample_rate.value / lowest_note_hz) + 8),
      twist_to_bridge_(static_cast<std::size_t>(sample_rate.value / lowest_note_hz) + 8),
      twist_to_nut_(static_cast<std::size_t>(sample_rate.value / lowest_note_hz) + 8)
{
}

void BowedString::be_still()
{
    to_bridge_.clear();
    to_nut_.clear();
    twist_to_bridge_.clear();
    twist_to_nut_.clear();
    bridge_in_ = bridge_out_ = dull_ = sliding_ = twist_mean_bridge_ = twist_mean_nut_ = 0;
    grip_ = Grip::stuck;
}

// D'Alembert with ends at rest: v(x, t) = h(t - x/c) - h(t + x/c), x from the bridge, h repeating with the period P.
// h a saw that falls by v_b / beta in each period and then jumps back: v at the bow is v_b, but v_b - v_b / beta for
// beta P in each period.  The lines hold what left the bow: -h(t + x_b/c) towards the bridge, h(t - x_b/c) towards the nut.
void BowedString::be_helmholtz(MetresPerSecond bow, Beta beta)
{
    be_still();
    const double half = beta.value * period_ / 2;
    const auto saw = [&](double t) {
        const double turns = t / period_ + 0.5;
        return bow.value / beta.value * (0.5 - (turns - std::floor(turns)));
    };
    for (int t = -static_cast<int>(period_) - 8; t < 0; ++t) {
        to_bridge_.put(-saw(t + half));
        to_nut_.put(saw(t - half));
    }
    bridge_in_ = dull_ = -saw(half - beta.value * period_);
    bridge_out_ = -bridge_in_;
}

// Friedlander's construction.  A string that nobody rubs would slide under the bow at D = v_b - v_h; rubbed with f it slides
// at u = D - f / 2Z (the load line).  Stuck: u = 0, possible while |f| = 2Z |D| <= F mu_s.  Sliding: f = F mu(u), with
// the hyperbola a quadratic in w = u + fall:
//   w^2 - (D + fall - k mu_d) w + k (mu_s - mu_d) fall = 0,   k = F / 2Z,
// whose larger root is the sliding state (the smaller one is unstable).  Where both are possible the string stays in the
// state it is in: the hysteresis of McIntyre & Woodhouse (1979), which flattens the pitch under a heavy bow.
BowedString::Contact BowedString::rub(double free_slip, double k) const
{
    const RosinCurve& r = make_.rosin;
    const auto slide = [&](double way) -> double { // u > 0, or 0: it cannot
        const double b = way * free_slip + r.fall.value - k * r.sliding;
        const double root = b * b - 4 * k * (r.sticking - r.sliding) * r.fall.value;
        if (root < 0 || b < 0) return 0;
        return std::max(0.0, (b + std::sqrt(root)) / 2 - r.fall.value);
    };
    const auto sliding = [&](double way, double u) -> Contact {
        return {way > 0 ? Grip::sliding : Grip::sliding_back, free_slip - way * u};
    };
    if (grip_ != Grip::stuck) {
        const double way = static_cast<double>(grip_);
        const double u = slide(way);
        if (u > 0) return sliding(way, u);
    }
    if (std::abs(free_slip) <= k * r.sticking) return {Grip::stuck, free_slip};
    const double way = free_slip > 0 ? 1 : -1;
    return sliding(way, slide(way));
}

// The bridge: a dash-pot R, held by a soft spring K lest the steady push of the bow drag it away.  Its force on the string's
// end is (R + K/s) v; with the wave coming in and going back, Z (in - out) = (R + K/s)(in + out), so
//   out / in = ((Z - R) s - K) / ((Z + R) s + K):  (Z - R) / (Z + R) at the note's frequency, in velocity, and -1 at rest.
// Bilinear s = 2 (1 - 1/z) / (1 + 1/z) in samples.  Then a mild one-pole low-pass for all that damps high partials.
double BowedString::at_bridge(double in)
{
    const double z = make_.impedance.value;
    const double r = make_.bridge_resistance.value;
    const double k = make_.bridge_spring * 2 * std::numbers::pi / period_ * r / 2;
    bridge_out_ = (((z - r) - k) * in - ((z - r) + k) * bridge_in_ + ((z + r) - k) * bridge_out_) / ((z + r) + k);
    bridge_in_ = in;
    const double w = 2 * std::numbers::pi * make_.brightness.value / rate_;
    dull_ += w / (1 + w) * (bridge_out_ - dull_);
    return dull_;
}

// An end that does not turn gives a twist wave back with the other sign, less what is lost; but a steady twist stays.
double BowedString::twist_end(double in, double& mean) const
{
    mean += make_.bridge_spring * 2 * std::numbers::pi / period_ * (in - mean);
    return -make_.twist_return * in - (1 - make_.twist_return) * mean;
}

// Velocity waves, positive along the bow's positive way.  At the bow, from both sides:
//   v = v_h + f / 2Z,  v_h = from_bridge + from_nut;  each side gets the other's wave and f / 2Z.
// A string that twists gives way at its surface too: the surface moves at v + v_t, v_t = v_th + f / 2Z_t, with waves of their own.
Grip BowedString::step(MetresPerSecond bow, Newtons force, Beta beta)
{
    const double w = 2 * std::numbers::pi * make_.brightness.value / rate_;
    const double dulling_delay = 1 / w;
    const double from_bridge = at_bridge(to_bridge_.after(beta.value * period_ - dulling_delay));
    const double from_nut = -to_nut_.after((1 - beta.value) * period_);
    const bool twists = make_.twist_impedance > 0;
    const double bow_bridge = beta.value * period_;
    const double bow_nut = (1 - beta.value) * period_;
    const double twist_bridge = twists ? twist_end(twist_to_bridge_.after(bow_bridge / make_.twist_speed), twist_mean_bridge_) : 0;
    const double twist_nut = twists ? twist_end(twist_to_nut_.after(bow_nut / make_.twist_speed), twist_mean_nut_) : 0;
    const double bends = twists ? make_.twist_impedance / (1 + make_.twist_impedance) : 1; // share of the push that bends
    const double free_slip = bow.value - from_bridge - from_nut - twist_bridge - twist_nut;
    const Contact c = rub(free_slip, force.value / (2 * make_.impedance.value * bends));
    grip_ = c.grip;
    sliding_ = free_slip - c.push;
    const double bend = c.push * bends;
    const double twist = c.push - bend;
    twist_to_bridge_.put(twist_nut + twist);
    twist_to_nut_.put(twist_bridge + twist);
    to_bridge_.put(from_nut + bend);
    to_nut_.put(from_bridge + bend);
    return grip_;
}

} // namespace bowarm
