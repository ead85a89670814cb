// On which side of a limit a wandering value is, with hysteresis: once known, it changes only beyond the margin.
//   thread   the player's.  Real-time safe: yes.  Errors: none.
#pragma once

#include <optional>

namespace bowarm
{

struct Limit {
    double value;
    double margin;
};

class Side
{
public:
    bool above(double value, const Limit& limit) noexcept
    {
        const double margin = above_ ? (*above_ ? -limit.margin : limit.margin) : 0.0;
        above_ = value > limit.value + margin;
        return *above_;
    }

private:
    std::optional<bool> above_;
};

} // namespace bowarm
