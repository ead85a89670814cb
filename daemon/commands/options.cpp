#include "commands/options.hpp"

#include "studio/nearest_word.hpp"

#include <algorithm>

namespace bowarm
{
namespace
{

const OptionRow* find_row(const CommandRow& command, std::string_view name)
{
    const auto found = std::find_if(command.options.begin(), command.options.end(), [&](const OptionRow& row) { return row.name == name; });
    return found == command.options.end() ? nullptr : &*found;
}

std::string hint(const CommandRow& command) { return "; see bowarmd " + std::string{command.name} + " --help"; }

std::string unknown_option(const CommandRow& command, std::string_view name)
{
    std::vector<std::string_view> known{"--help"};
    for (const OptionRow& row : command.options) known.push_back(row.name);
    const auto near = nearest_word(name, known);
    const std::string line = "bowarmd " + std::string{command.name} + ": no option " + shown(name);
    return line + (near.empty() ? hint(command) : "; did you mean " + std::string{near} + "?");
}

std::string spelled(const OptionRow& row)
{
    std::string out{row.name};
    if (!row.value.empty()) out.append(" ").append(row.value);
    return out;
}

std::string usage_line(const CommandRow& command)
{
    std::string line = "usage: bowarmd ";
    line += command.name;
    if (!command.operands.empty()) line.append(" ").append(command.operands);
    for (const OptionRow& row : command.options) {
        const bool needed = row.name == command.needed;
        line.append(needed ? " " : " [").append(spelled(row)).append(needed ? "" : "]");
    }
    return line;
}

} // namespace

std::variant<Arguments, UsageProblem> read_arguments(const CommandRow& command, std::span<const std::string> words)
{
    const std::string self = "bowarmd " + std::string{command.name} + ": ";
    Arguments out;
    bool options_ended = false;
    for (std::size_t i = 0; i < words.size(); ++i) {
        const std::string& word = words[i];
        if (options_ended || word.size() < 2 || word[0] != '-') {
            out.add_operand(word);
            continue;
        }
        if (word == "--") {
            options_ended = true;
            continue;
        }
        const auto equals = word.starts_with("--") ? word.find('=') : std::string::npos;
        const std::string name = word.substr(0, equals);
        const OptionRow* row = find_row(command, name);
        if (!row) return UsageProblem{unknown_option(command, name)};
        if (out.has(name)) return UsageProblem{self + name + " given twice; once is enough"};
        if (row->value.empty()) {
            if (equals != std::string::npos) return UsageProblem{self + name + " takes no value"};
            out.set(name, "");
        } else if (equals != std::string::npos) {
            out.set(name, word.substr(equals + 1));
        } else if (i + 1 < words.size()) {
            out.set(name, words[++i]);
        } else {
            return UsageProblem{self + name + " needs a " + std::string{row->value} + hint(command)};
        }
        if (!row->value.empty() && out.value(name)->empty())
            return UsageProblem{self + name + " needs a " + std::string{row->value} + ", not an empty text"};
    }
    if (out.operands().size() < command.operands_least)
        return UsageProblem{self + "no " + std::string{command.operands} + " given" + hint(command)};
    if (out.operands().size() > command.operands_most)
        return UsageProblem{self + "what is '" + shown(out.operands()[command.operands_most]) + "' for?" + hint(command)};
    if (!command.needed.empty() && !out.has(command.needed))
        return UsageProblem{self + std::string{command.needed} + " is needed" + hint(command)};
    return out;
}

std::string help_text(const CommandRow& command)
{
    std::string out = usage_line(command) + "\n\n" + std::string{command.summary} + "\n";
    if (!command.options.empty()) out += "\n";
    constexpr std::size_t column = 22;
    for (const OptionRow& row : command.options) {
        std::string left = "  ";
        left += spelled(row);
        left.resize(std::max(column, left.size() + 1), ' ');
        out.append(left).append(row.help).append("\n");
    }
    return out;
}

} // namespace bowarm
