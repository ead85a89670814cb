// Which build of the program this is: the linker's own identification of its contents.
//   source   GNU ld, --build-id; the note NT_GNU_BUILD_ID of elf.h, found by dl_iterate_phdr(3)
//   thread   any.  Real-time safe: no.  Errors: none; "unknown" where the linker wrote none.
#pragma once

#include <string>

namespace bowarm
{

std::string build_id();

} // namespace bowarm
