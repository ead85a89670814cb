// A folder of its own for a test, gone with it.
#pragma once

#include <cstdlib>
#include <filesystem>
#include <stdexcept>

namespace bowarm::test
{

struct Folder {
    Folder()
    {
        char name[] = "/tmp/bowarm-status-XXXXXX";
        if (::mkdtemp(name) == nullptr) throw std::runtime_error{"no folder in /tmp"};
        path = name;
    }
    ~Folder()
    {
        std::error_code ignored;
        std::filesystem::remove_all(path, ignored);
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;

    std::filesystem::path path;
};

} // namespace bowarm::test
