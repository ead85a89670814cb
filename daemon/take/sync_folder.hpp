// A new name outlives a power cut.
//   in       the folder that has the name
//   thread   any; it may wait for the disk.  Real-time safe: no.
//   Errors   std::system_error; a folder that cannot be opened, or a file system that syncs none, is passed over.
//   source   fsync(2), man-pages: syncing a file does not ensure that the entry in its folder has reached the disk
#pragma once

#include <filesystem>

namespace bowarm
{

void sync_folder(const std::filesystem::path& folder);

} // namespace bowarm
