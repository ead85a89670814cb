// A small unsteadiness of the bow's speed, the same each time.
//   out      about -0.3..0.3, slowly wandering
//   thread   one at a time.  Real-time safe: yes.
#pragma once

#include <cstdint>

namespace bowarm
{

// Rosin is never even: what a microphone hears as breath around the tone.  A fixed seed, so that every start sounds alike.
class Unevenness
{
public:
    double next()
    {
        seed_ = seed_ * 6364136223846793005U + 1442695040888963407U; // D. E. Knuth, MMIX
        const double white = static_cast<double>(seed_ >> 40) / 8388608.0 - 1;
        slow_ += 0.1 * (white - slow_);
        return slow_;
    }

private:
    std::uint64_t seed_{1};
    double slow_{0};
};

} // namespace bowarm
