// The compressed form of MusicXML: a ZIP archive with the document and a note that says which file it is.
//   source   MusicXML 4.0, "Compressed .MXL files"; APPNOTE.TXT 6.3.3 (ZIP), with zlib for its raw deflate and checksums
//   thread   any, pure.  Real-time safe: no, it allocates.
//   Errors   reading: a line that says what is wrong and what to do; nothing larger than `most` is ever unpacked.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace bowarm::part
{

bool is_compressed(std::span<const std::uint8_t> bytes);
std::vector<std::uint8_t> compressed(std::string_view document);

struct NotUnpacked {
    std::string what, remedy;
};
std::variant<std::string, NotUnpacked> uncompressed(std::span<const std::uint8_t> archive, std::size_t most);

} // namespace bowarm::part
