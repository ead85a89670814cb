// The bow of a motion record at any moment, asked for in order of time; between two samples it goes along straight lines.
//   thread   one at a time.  Real-time safe: yes.  Errors: none.
#pragma once

#include "bow/plan.hpp"
#include "take/motion.hpp"

#include <span>

namespace bowarm
{

class BowAt
{
public:
    explicit BowAt(std::span<const MotionSample> samples) : samples_(samples) {}

    // No force: nothing touches the strings.
    Motion at(double ns);

private:
    std::span<const MotionSample> samples_;
    std::size_t next_{0}; // the first sample after the moment
    float beta_{0.1F};    // off the string there is none
};

} // namespace bowarm
