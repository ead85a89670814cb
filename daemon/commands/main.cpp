// bowarmd: reads the command line, runs one command, turns whatever goes wrong into one line and an exit code.
#include "commands/command_table.hpp"
#include "commands/exit_codes.hpp"
#include "commands/options.hpp"
#include "studio/nearest_word.hpp"
#include "studio/version.hpp"

#include <algorithm>
#include <exception>
#include <iostream>
#include <string>
#include <vector>

namespace bowarm
{
namespace
{

std::string general_help()
{
    std::string out = "usage: bowarmd COMMAND [OPTIONS]\n\nA bow arm for people who play strings from a keyboard.\n\n";
    constexpr std::size_t column = 14;
    for (const Subcommand& command : commands()) {
        std::string left = "  " + std::string{command.row->name};
        left.resize(std::max(column, left.size() + 1), ' ');
        out += left + std::string{command.row->summary} + "\n";
    }
    return out + "\n  --help      this text; after a command, that command's\n  --version   the version, and from which source\n\n"
                 "exit codes: 0 fine, 1 done but a wish was refused or --fail-on found a warning, 64 usage, 65 bad data, 66 no such file,\n"
                 "            69 unavailable, 70 a defect, 73 cannot create, 74 read or write failed, 75 another instance runs, 78 "
                 "configuration\n";
}

int fail(int code, const std::string& line)
{
    std::cerr << line << "\n";
    return code;
}

int unknown_command(const std::string& word)
{
    std::vector<std::string_view> known;
    for (const Subcommand& command : commands()) known.push_back(command.row->name);
    return fail(exit_code::usage, "bowarmd: no command '" + shown(word) + "'; " + suggestion(word, known));
}

bool asks_for_help(const std::vector<std::string>& words)
{
    const auto operands_begin = std::find(words.begin(), words.end(), "--");
    return std::any_of(words.begin(), operands_begin, [](const std::string& word) { return word == "--help" || word == "-h"; });
}

int dispatch(const std::vector<std::string>& words)
{
    if (words.empty()) return fail(exit_code::usage, "bowarmd: no command given; see bowarmd --help");
    if (words[0] == "--help" || words[0] == "-h") {
        std::cout << general_help();
        return exit_code::fine;
    }
    if (words[0] == "--version") {
        std::cout << "bowarmd " << version << ", build " << BOWARM_BUILD_ID << "\n";
        return exit_code::fine;
    }
    const auto all = commands();
    const auto found = std::find_if(all.begin(), all.end(), [&](const Subcommand& command) { return command.row->name == words[0]; });
    if (found == all.end()) return unknown_command(words[0]);
    const std::vector<std::string> rest{words.begin() + 1, words.end()};
    if (asks_for_help(rest)) {
        std::cout << help_text(*found->row);
        return exit_code::fine;
    }
    const auto arguments = read_arguments(*found->row, rest);
    if (const auto* problem = std::get_if<UsageProblem>(&arguments)) return fail(exit_code::usage, problem->line);
    return found->run(std::get<Arguments>(arguments));
}

} // namespace
} // namespace bowarm

int main(int count, char** words)
{
    using namespace bowarm;
    try {
        const int code = dispatch({words + 1, words + std::max(count, 1)});
        std::cout.flush();
        return code == exit_code::fine && !std::cout ? fail(exit_code::input_output, "bowarmd: cannot write to the standard output") : code;
    } catch (const CommandFailure& failure) {
        return fail(failure.code(), failure.what());
    } catch (const std::exception& error) {
        return fail(exit_code::internal, std::string{"bowarmd: "} + error.what());
    }
}
