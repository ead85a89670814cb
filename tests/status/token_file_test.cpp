// The token of the TCP door: what is taken for it, and whose file it may be.
#include "folder.hpp"
#include "status/status.hpp"
#include "status/token_file.hpp"

#include <doctest/doctest.h>
#include <fstream>
#include <string>
#include <sys/stat.h>
#include <unistd.h>

using namespace bowarm;
using namespace bowarm::test;

TEST_CASE("the token is the token, and no beginning, part, repetition or change of it is")
{
    const std::string token = "0123456789abcdef0123456789ABCDEF";
    CHECK(same_token(token, token));
    for (std::size_t length = 0; length < token.size(); ++length) {
        CHECK_FALSE(same_token(token.substr(0, length), token));
        CHECK_FALSE(same_token(token.substr(token.size() - length), token));
    }
    CHECK_FALSE(same_token(token + token, token));
    CHECK_FALSE(same_token(token + "0", token));
    CHECK_FALSE(same_token(token + std::string(1, '\0'), token));
    for (std::size_t at = 0; at < token.size(); ++at)
        for (int bit = 0; bit < 8; ++bit) {
            std::string changed = token;
            changed[at] = static_cast<char>(changed[at] ^ 1 << bit);
            CHECK_FALSE(same_token(changed, token));
        }
}

TEST_CASE("a new token is 256 random bits in a file for its owner alone, and stays the same")
{
    const Folder folder;
    const std::string token = token_of(folder.path / "token");
    CHECK(token.size() == 64);
    CHECK(token.find_first_not_of("0123456789abcdef") == std::string::npos);
    CHECK(token_of(folder.path / "token") == token);
    CHECK(token_of(folder.path / "other") != token);
    CHECK(std::filesystem::status(folder.path / "token").permissions() ==
          (std::filesystem::perms::owner_read | std::filesystem::perms::owner_write));
}

TEST_CASE("a pipe or a folder in the place of the token's file is refused at once")
{
    const Folder folder;
    REQUIRE(::mkfifo((folder.path / "pipe").c_str(), 0600) == 0);
    std::filesystem::create_directory(folder.path / "inside");
    CHECK_THROWS_AS(token_of(folder.path / "pipe"), SocketProblem);
    CHECK_THROWS_AS(token_of(folder.path / "inside"), SocketProblem);
}

TEST_CASE("a token's file of somebody else is refused")
{
    if (::geteuid() != 0) {
        MESSAGE("skipped: only root can give a file away");
        return;
    }
    const Folder folder;
    const auto file = folder.path / "token";
    token_of(file);
    REQUIRE(::chown(file.c_str(), 65534, 65534) == 0);
    CHECK_THROWS_AS(token_of(file), SocketProblem);
}
