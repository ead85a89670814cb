#pragma once

#include <string_view>

namespace bowarm
{

inline constexpr std::string_view version = "0.1.0"; // a test holds it to the project's

} // namespace bowarm
