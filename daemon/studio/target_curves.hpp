// The curves of a target's file, and what of the person's own controllers is passed on.  See key_rows.hpp for threads and errors.
#pragma once

#include "studio/key_rows.hpp"
#include "target/target_spec.hpp"

namespace bowarm
{

// Needs the techniques and states.  False when a curve was refused.
bool read_curves(const Section& top, TargetSpec& spec);
// Needs the curves.
void read_pass(const Section& top, TargetSpec& spec);

} // namespace bowarm
