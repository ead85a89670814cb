#include "commands/replay_part.hpp"

#include "commands/exit_codes.hpp"
#include "commands/replay.hpp"
#include "take/part/zip.hpp"
#include "take/performance.hpp"

#include <charconv>
#include <filesystem>
#include <string_view>

namespace bowarm
{
namespace
{

constexpr std::int32_t bar_number_at_most = 1'000'000;
constexpr std::string_view compressed_ending = ".mxl";

std::int32_t bar_number(std::string_view option, std::string_view text)
{
    std::int32_t bar = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), bar);
    if (error != std::errc{} || end != text.data() + text.size() || bar < 0 || bar > bar_number_at_most)
        throw CommandFailure(exit_code::usage, "bowarmd replay: " + std::string{option} + " needs bar numbers, such as " +
                                                   (option == "--rehearsal" ? "9,25,41" : "101"));
    return bar;
}

std::vector<std::int32_t> bar_numbers(std::string_view option, std::string_view text)
{
    std::vector<std::int32_t> bars;
    for (std::size_t begin = 0; begin <= text.size();) {
        const std::size_t comma = std::min(text.find(',', begin), text.size());
        bars.push_back(bar_number(option, text.substr(begin, comma - begin)));
        begin = comma + 1;
    }
    return bars;
}

std::string stem_of(const std::string& path) { return std::filesystem::path(path).stem().string(); }

} // namespace

std::optional<PartAsked> part_asked(const Arguments& arguments, const std::string& in)
{
    const auto file = arguments.value("--part");
    for (const std::string_view option : {"--first-bar", "--rehearsal", "--cue"})
        if (!file && arguments.has(option))
            throw CommandFailure(exit_code::usage, "bowarmd replay: " + std::string{option} + " is of use only with --part; give both");
    if (!file) return std::nullopt;
    PartAsked asked{*file, {}};
    asked.options.title = stem_of(in);
    if (const auto first = arguments.value("--first-bar")) asked.options.first_bar = bar_number("--first-bar", *first);
    if (const auto bars = arguments.value("--rehearsal")) asked.options.rehearsal = bar_numbers("--rehearsal", *bars);
    if (const auto cue = arguments.value("--cue"))
        asked.options.cue = {stem_of(*cue), inputs_of(midi_file_from(*cue, arguments.has("--verbose")), Source{0})};
    return asked;
}

std::vector<PartOptions::Key> keys_told(const StandardFile& file)
{
    std::vector<PartOptions::Key> keys;
    for (const FileEvent& event : file.events)
        if (const auto* key = std::get_if<KeyChange>(&event.what)) keys.push_back({event.at, *key});
    return keys;
}

void write_part(const PartAsked& asked, const Recorder& take, const PlayerConfig& player)
{
    const PlayersPart one[] = {{take, player, {}}};
    write_score(asked, one);
}

void write_score(const PartAsked& asked, std::span<const PlayersPart> players)
{
    const std::string document = score_xml(players, asked.options);
    if (asked.file.ends_with(compressed_ending)) {
        write_output(asked.file, part::compressed(document));
        return;
    }
    write_output(asked.file, {reinterpret_cast<const std::uint8_t*>(document.data()), document.size()});
}

} // namespace bowarm
