// The token that a client over TCP has to know: one line in a file that only its owner may read.
//   thread   the service thread.  Real-time safe: no.
//   Errors   SocketProblem when the file can be neither read nor made, or others may read it.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace bowarm
{

inline constexpr std::size_t token_least = 16; // bytes; what is made here has 64, hexadecimal

// The file's first line; the file is made, 0600, with a random one where it is missing.
std::string token_of(const std::filesystem::path& file);

// Takes as long for a wrong guess as for a right one of the same length, so that nobody learns a token by its letters.
bool same_token(std::string_view said, std::string_view token) noexcept;

} // namespace bowarm
