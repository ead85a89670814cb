// A folder of its own for a test, gone with it.
#pragma once

#include <cstdlib>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <system_error>

namespace bowarm::test
{

struct Folder {
    Folder()
    {
        std::string name = (std::filesystem::temp_directory_path() / "bowarm-test-XXXXXX").string();
        if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error{"no folder of its own: " + name};
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
