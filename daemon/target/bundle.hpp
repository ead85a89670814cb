// Messages that are sent as one; see Sink::bundle.
#pragma once

#include "base/fixed_vector.hpp"
#include "midi/message.hpp"
#include "target/target_spec.hpp"

#include <span>

namespace bowarm
{

using Bundle = FixedVector<Message, bundle_limit>;
inline std::span<const Message> messages(const Bundle& bundle) { return {bundle.data(), bundle.size()}; }

} // namespace bowarm
