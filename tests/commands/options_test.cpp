#include "commands/options.hpp"

#include <doctest/doctest.h>
#include <string>
#include <vector>

// The command line's own sources, since a program has no library of them.
#include "commands/options.cpp"

using namespace bowarm;

namespace
{

constexpr OptionRow option_rows[] = {{"--out", "FILE", "where to"}, {"--stay", "", "go on"}};
constexpr CommandRow row{"play", "IN", 1, 1, "plays", option_rows, "--out"};

std::string problem_of(const std::vector<std::string>& words)
{
    const auto read = read_arguments(row, words);
    const auto* problem = std::get_if<UsageProblem>(&read);
    return problem ? problem->line : "";
}

} // namespace

TEST_CASE("options in every usual form")
{
    for (const std::vector<std::string>& words : {std::vector<std::string>{"a.mid", "--out", "b.mid", "--stay"},
                                                  {"--out=b.mid", "--stay", "a.mid"},
                                                  {"--stay", "--out", "b.mid", "--", "a.mid"}}) {
        const auto read = read_arguments(row, words);
        REQUIRE(std::holds_alternative<Arguments>(read));
        const auto& arguments = std::get<Arguments>(read);
        CHECK(arguments.operands() == std::vector<std::string>{"a.mid"});
        CHECK(arguments.value("--out") == "b.mid");
        CHECK(arguments.has("--stay"));
        CHECK(!arguments.has("--nothing"));
    }
}

TEST_CASE("an operand may begin with a dash after two of them, and a single dash is one")
{
    const auto read = read_arguments(row, std::vector<std::string>{"--out", "x", "--", "-a.mid"});
    REQUIRE(std::holds_alternative<Arguments>(read));
    CHECK(std::get<Arguments>(read).operands()[0] == "-a.mid");
    const auto dash = read_arguments(row, std::vector<std::string>{"--out", "x", "-"});
    REQUIRE(std::holds_alternative<Arguments>(dash));
    CHECK(std::get<Arguments>(dash).operands()[0] == "-");
}

TEST_CASE("one line for each slip")
{
    struct Row {
        std::vector<std::string> words;
        const char* line;
    };
    const Row rows[] = {
        {{"a", "--ot", "b"}, "bowarmd play: no option --ot; did you mean --out?"},
        {{"a", "--entirely-else"}, "bowarmd play: no option --entirely-else; see bowarmd play --help"},
        {{"a", "--out"}, "bowarmd play: --out needs a FILE; see bowarmd play --help"},
        {{"a", "--out="}, "bowarmd play: --out needs a FILE, not an empty text"},
        {{"a", "--out", "b", "--out", "c"}, "bowarmd play: --out given twice; once is enough"},
        {{"a", "--out", "b", "--stay=yes"}, "bowarmd play: --stay takes no value"},
        {{"--out", "b"}, "bowarmd play: no IN given; see bowarmd play --help"},
        {{"a", "c", "--out", "b"}, "bowarmd play: what is 'c' for?; see bowarmd play --help"},
        {{"a"}, "bowarmd play: --out is needed; see bowarmd play --help"},
    };
    for (const Row& r : rows) CHECK(problem_of(r.words) == r.line);
}

TEST_CASE("help lists exactly the rows")
{
    const std::string help = help_text(row);
    CHECK(help == "usage: bowarmd play IN --out FILE [--stay]\n\nplays\n\n  --out FILE          where to\n  --stay              go on\n");
}
