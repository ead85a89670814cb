// What of a configuration that was read again takes effect only when the service is started anew.
//   thread   any, pure.  Real-time safe: no.  Errors: none.
#pragma once

#include "studio/configuration.hpp"

#include <string>
#include <vector>

namespace bowarm
{

// The keys that differ, as "[midi] client".
std::vector<std::string> keys_for_restart(const Settings& now, const Settings& next);
// The new settings with the old values of those keys: what the service goes by.
Settings without_restart(Settings next, const Settings& now);

} // namespace bowarm
