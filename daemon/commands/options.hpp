// The command line as data: one row an option serves reading, checking and --help.
//   thread   any, pure.  Real-time safe: no.
//   Errors   a UsageProblem, to be printed as one line; exit code 64.
#pragma once

#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace bowarm
{

struct OptionRow {
    std::string_view name;  // with its dashes
    std::string_view value; // what follows it, in capitals; empty: a switch
    std::string_view help;  // one sentence
};

struct CommandRow {
    std::string_view name;
    std::string_view operands; // as printed in the usage line
    std::size_t operands_least, operands_most;
    std::string_view summary; // one line
    std::span<const OptionRow> options;
    std::string_view needed; // an option without which the command has nothing to do; empty: none
};

// What was given.  Only names from the command's rows can be asked for.
class Arguments
{
public:
    bool has(std::string_view name) const { return values_.find(name) != values_.end(); }
    std::optional<std::string> value(std::string_view name) const
    {
        const auto found = values_.find(name);
        if (found == values_.end()) return std::nullopt;
        return found->second;
    }
    std::vector<std::string_view> names() const
    {
        std::vector<std::string_view> all;
        for (const auto& [name, value] : values_) all.push_back(name);
        return all;
    }
    const std::vector<std::string>& operands() const { return operands_; }

    void set(std::string_view name, std::string value) { values_.insert_or_assign(std::string{name}, std::move(value)); }
    void add_operand(std::string operand) { operands_.push_back(std::move(operand)); }

private:
    std::map<std::string, std::string, std::less<>> values_;
    std::vector<std::string> operands_;
};

struct UsageProblem {
    std::string line;
};

// `--name VALUE`, `--name=VALUE`, `--` before operands that begin with a dash.
std::variant<Arguments, UsageProblem> read_arguments(const CommandRow& command, std::span<const std::string> words);

// The text of `bowarmd COMMAND --help`, LF at its end.
std::string help_text(const CommandRow& command);

} // namespace bowarm
