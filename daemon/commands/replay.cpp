#include "commands/replay.hpp"

#include "commands/check.hpp"
#include "commands/exit_codes.hpp"
#include "take/hindsight.hpp"
#include "take/performance.hpp"
#include "take/take.hpp"
#include "take/words.hpp"

#include <array>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <memory>
#include <optional>
#include <system_error>

namespace bowarm
{

namespace
{

namespace fs = std::filesystem;

// An hour of dense playing is below 1 MB; this keeps an endless device from filling the memory.
constexpr std::size_t file_bytes_at_most = 32U << 20;
// The longest opera takes less; a file that claims years would be bowed for as long.
constexpr std::int64_t hours_at_most = 12;

struct CloseFile {
    void operator()(std::FILE* file) const { std::fclose(file); }
};

std::vector<std::uint8_t> bytes_of(const std::string& path)
{
    std::error_code ignored;
    if (fs::is_directory(path, ignored)) throw CommandFailure(exit_code::no_input, path + ": is a folder; give the path of a .mid file");
    const std::unique_ptr<std::FILE, CloseFile> file(std::fopen(path.c_str(), "rb"));
    if (!file) {
        const int error = errno;
        const bool missing = error == ENOENT || error == ENOTDIR;
        throw CommandFailure(missing ? exit_code::no_input : exit_code::input_output,
                             path + ": " + std::strerror(error) + (missing ? "; give the path of a .mid file" : "; check its permissions"));
    }
    std::vector<std::uint8_t> bytes;
    std::array<std::uint8_t, 65536> block{};
    while (const std::size_t count = std::fread(block.data(), 1, block.size(), file.get())) {
        if (bytes.size() + count > file_bytes_at_most)
            throw CommandFailure(exit_code::bad_data, path + ": larger than 32 MB; give a .mid file of one piece");
        bytes.insert(bytes.end(), block.begin(), block.begin() + static_cast<std::ptrdiff_t>(count));
    }
    if (std::ferror(file.get()) != 0)
        throw CommandFailure(exit_code::input_output, path + ": " + std::strerror(errno) + "; give the path of a .mid file");
    return bytes;
}

bool same_file(const std::string& one, const std::string& other)
{
    std::error_code ignored;
    if (fs::equivalent(one, other, ignored)) return true;
    return fs::weakly_canonical(one, ignored) == fs::weakly_canonical(other, ignored);
}

// A device such as /dev/null may be named twice; a file may not.
void refuse_overwriting(const std::string& option, const std::string& output, const std::string& other, const std::string& what)
{
    std::error_code ignored;
    const bool device = fs::exists(output, ignored) && !fs::is_regular_file(output, ignored);
    if (!device && same_file(output, other))
        throw CommandFailure(exit_code::usage, option + " " + output + " would overwrite " + what + "; name another file");
}

void write_output(const std::string& path, std::span<const std::uint8_t> bytes)
{
    try {
        write_whole_file(path, bytes);
    } catch (const std::system_error& error) {
        const int code = error.code().value();
        const bool on_the_way = code == EIO || code == ENOSPC || code == EDQUOT || code == EPIPE;
        throw CommandFailure(
            on_the_way ? exit_code::input_output : exit_code::cannot_create,
            path + ": cannot be written: " + error.code().message() +
                (on_the_way ? "; make room or choose another disk" : "; choose a folder that is there and may be written"));
    }
}

std::span<const std::uint8_t> bytes_of_text(const std::string& text)
{
    return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

template <std::size_t N> std::string_view text_of(const std::array<char, N>& text) { return {text.data(), ::strnlen(text.data(), N)}; }

std::string report_of(const Recorder& take, const PlayerConfig& player, std::string_view mode)
{
    const auto& strings = player.instrument.strings;
    return report_json(take, {text_of(player.instrument.name), text_of(player.target.name), mode, {strings.data(), strings.size()}});
}

struct Bowed {
    std::size_t strokes{0}, retakes{0}, hooked{0}, forced{0}, warnings{0};
};

Bowed counted(const Recorder& take)
{
    Bowed b;
    for (const Fact& f : take.facts()) {
        if (f.kind == FactKind::warning) ++b.warnings;
        if (f.kind != FactKind::stroke_began) continue;
        ++b.strokes;
        b.retakes += f.retake;
        b.hooked += f.hooked;
        b.forced += f.forced;
    }
    return b;
}

void say_what_changed(const Recorder& live, const Recorder& again, const Hindsight& hindsight)
{
    const Bowed a = counted(live);
    const Bowed b = counted(again);
    std::printf("             live  hindsight\n");
    const auto row = [](const char* word, std::size_t one, std::size_t other) { std::printf("%-10s %6zu %10zu\n", word, one, other); };
    row("strokes", a.strokes, b.strokes);
    row("retakes", a.retakes, b.retakes);
    row("hooked", a.hooked, b.hooked);
    row("forced", a.forced, b.forced);
    row("warnings", a.warnings, b.warnings);
    std::printf("%-10s %6.1f %10.1f%s\n", "cost", hindsight.live_cost, hindsight.cost,
                hindsight.live_kept ? "  (live's own bowing was kept)" : "");
}

std::string place_words(BarPlace place)
{
    if (place.bar <= 0) return "";
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), "bar %d beat %.2f: ", place.bar, place.beat);
    return text.data();
}

void say_warnings(const Recorder& take)
{
    for (const Fact& fact : take.facts()) {
        if (fact.kind != FactKind::warning) continue;
        const double seconds = to_seconds(fact.at - take.origin()).value;
        std::fprintf(stderr, "%.3f s: %s%s: %s\n", seconds, place_words(fact.place).c_str(),
                     std::string{warning_word(fact.warning)}.c_str(), warning_sentence(fact).c_str());
    }
}

} // namespace

StandardFile midi_file_from(const std::string& path, bool verbose)
{
    FileRead read = read_standard_file(bytes_of(path));
    if (const auto* problem = std::get_if<FileProblem>(&read))
        throw CommandFailure(exit_code::bad_data,
                             path + ": byte " + std::to_string(problem->offset) + ": " + problem->what + "; " + problem->remedy);
    StandardFile& file = std::get<StandardFile>(read);
    if (file.end.ns > hours_at_most * 3'600'000'000'000)
        throw CommandFailure(exit_code::bad_data, path + ": lasts longer than 12 hours; shorten the rests or divide the piece");
    if (verbose)
        for (const FileWarning& warning : file.warnings)
            std::fprintf(stderr, "%s: byte %zu: %s\n", path.c_str(), warning.offset, warning.what.c_str());
    return std::move(file);
}

int replay_command(const Arguments& arguments)
{
    const std::string in = arguments.operands().front();
    const std::string out = arguments.value("--out").value_or("");
    const std::optional<std::string> report = arguments.value("--report");
    const bool verbose = arguments.has("--verbose");
    refuse_overwriting("--out", out, in, "the input");
    if (report) refuse_overwriting("--report", *report, in, "the input");
    if (report) refuse_overwriting("--report", *report, out, "the file of --out");

    const StandardFile file = midi_file_from(in, verbose);
    const Settings settings = settings_from(arguments);
    const std::vector<Input> inputs = inputs_of(file, Source{0});
    Recorder take;
    bool at_rest = false;
    {
        Player player(settings.player);
        at_rest = perform(player, inputs, file.end, take);
    }
    const bool again = arguments.has("--hindsight");
    if (again) {
        const Hindsight hindsight = bow_again(settings.player.instrument, take);
        Player player(settings.player);
        player.bow_by(hindsight.plan);
        Recorder bowed;
        at_rest = perform(player, inputs, file.end, bowed) && at_rest;
        say_what_changed(take, bowed, hindsight);
        take = std::move(bowed);
    }
    write_output(out, sent_as_midi_file(take));
    if (report) write_output(*report, bytes_of_text(report_of(take, settings.player, again ? "hindsight" : "live")));
    if (verbose) say_warnings(take);
    if (!at_rest)
        throw CommandFailure(exit_code::internal,
                             in + ": the arm found no rest a minute after the end and was stopped; please report it with the file");
    return exit_code::fine;
}

} // namespace bowarm
