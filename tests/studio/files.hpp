// Files of a test in a folder of its own, and what the loader says of them.
#pragma once

#include "studio/configuration.hpp"

#include <atomic>
#include <doctest/doctest.h>
#include <filesystem>
#include <fstream>
#include <string>
#include <unistd.h>

namespace studio_test
{

namespace fs = std::filesystem;

inline const fs::path shipped = fs::path{BOWARM_SOURCE_DIR} / "config";

class Folder
{
public:
    Folder() : path_(fs::temp_directory_path() / ("bowarm-studio-" + std::to_string(::getpid()) + "-" + std::to_string(next())))
    {
        fs::create_directories(path_);
    }
    ~Folder()
    {
        std::error_code ignored;
        fs::remove_all(path_, ignored);
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    fs::path write(const std::string& name, const std::string& text) const
    {
        const fs::path file = path_ / name;
        fs::create_directories(file.parent_path());
        std::ofstream{file, std::ios::binary} << text;
        return file;
    }
    const fs::path& path() const { return path_; }

private:
    static int next()
    {
        static std::atomic<int> number{0};
        return number++;
    }
    fs::path path_;
};

inline std::string text_of_file(const fs::path& file)
{
    std::ifstream in{file, std::ios::binary};
    REQUIRE(in);
    return {std::istreambuf_iterator<char>{in}, {}};
}

// Fails when the part is not there, so that a test never changes nothing.
inline std::string with(std::string text, const std::string& part, const std::string& instead)
{
    const auto at = text.find(part);
    REQUIRE_MESSAGE(at != std::string::npos, part);
    return text.replace(at, part.size(), instead);
}

inline std::vector<bowarm::Problem> problems_of(const bowarm::Loaded& loaded)
{
    if (const auto* problems = std::get_if<std::vector<bowarm::Problem>>(&loaded)) return *problems;
    return {};
}

inline std::string lines(const std::vector<bowarm::Problem>& problems)
{
    std::string out;
    for (const auto& problem : problems) {
        out += problem.line();
        out += '\n';
    }
    return out;
}

// The shipped instruments and targets beside a configuration of the test's own.
inline std::vector<bowarm::Problem> problems_of_configuration(const std::string& text)
{
    const Folder folder;
    fs::create_directory_symlink(shipped / "instruments", folder.path() / "instruments");
    fs::create_directory_symlink(shipped / "targets", folder.path() / "targets");
    return problems_of(bowarm::load_configuration(folder.write("bowarm.toml", text), {}));
}

} // namespace studio_test
