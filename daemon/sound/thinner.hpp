// A string's steps become samples of sound.
//   thread   one at a time.  Real-time safe: yes.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace bowarm
{

inline constexpr int oversampling = 4; // at 48 kHz the string steps at 192 kHz

// Four steps of the string become one sample: a raised-cosine window over three samples.
class Thinner
{
public:
    Thinner()
    {
        for (std::size_t i = 0; i < length; ++i) {
            const double turn = 2 * std::numbers::pi * (static_cast<double>(i) + 0.5) / length;
            weights_[i] = (1 - std::cos(turn)) / length;
        }
    }
    void put(double x)
    {
        window_[next_] = x;
        next_ = (next_ + 1) % length;
    }
    double get() const
    {
        double sum = 0;
        for (std::size_t i = 0; i < length; ++i) sum += window_[(next_ + i) % length] * weights_[i];
        return sum;
    }

private:
    static constexpr std::size_t length = 3 * oversampling;
    std::array<double, length> weights_{};
    std::array<double, length> window_{};
    std::size_t next_{0};
};

} // namespace bowarm
