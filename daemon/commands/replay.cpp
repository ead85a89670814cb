#include "commands/replay.hpp"

#include "commands/check.hpp"
#include "commands/exit_codes.hpp"
#include "commands/replay_papers.hpp"
#include "commands/replay_part.hpp"
#include "commands/replay_words.hpp"
#include "player/delays.hpp"
#include "take/obedience.hpp"
#include "take/part/pencil.hpp"
#include "take/part/zip.hpp"
#include "take/performance.hpp"
#include "take/second_bowing.hpp"
#include "take/take.hpp"
#include "take/understood.hpp"
#include "take/wishes.hpp"

#include <array>
#include <cerrno>
#include <charconv>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <memory>
#include <optional>
#include <system_error>
#include <utility>

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

// What is read, in words for the person.
struct FileKind {
    std::string_view name;
    std::size_t bytes_at_most;
    std::string_view limit;
};
constexpr FileKind midi_kind{"a .mid file", file_bytes_at_most, "32 MB; give a .mid file of one piece"};
constexpr FileKind wishes_kind{"a text of wishes or a MusicXML part", 256U << 20, "256 MB; give a text of wishes or a single part"};

std::vector<std::uint8_t> bytes_of(const std::string& path, const FileKind& kind)
{
    const std::string give = "give the path of " + std::string{kind.name};
    std::error_code ignored;
    if (fs::is_directory(path, ignored)) throw CommandFailure(exit_code::no_input, path + ": is a folder; " + give);
    const std::unique_ptr<std::FILE, CloseFile> file(std::fopen(path.c_str(), "rb"));
    if (!file) {
        const int error = errno;
        const bool missing = error == ENOENT || error == ENOTDIR;
        throw CommandFailure(missing ? exit_code::no_input : exit_code::input_output,
                             path + ": " + std::strerror(error) + (missing ? "; " + give : "; check its permissions"));
    }
    std::vector<std::uint8_t> bytes;
    std::array<std::uint8_t, 65536> block{};
    while (const std::size_t count = std::fread(block.data(), 1, block.size(), file.get())) {
        if (bytes.size() + count > kind.bytes_at_most)
            throw CommandFailure(exit_code::bad_data, path + ": larger than " + std::string{kind.limit});
        bytes.insert(bytes.end(), block.begin(), block.begin() + static_cast<std::ptrdiff_t>(count));
    }
    if (std::ferror(file.get()) != 0) throw CommandFailure(exit_code::input_output, path + ": " + std::strerror(errno) + "; " + give);
    return bytes;
}

bool same_file(const std::string& one, const std::string& other)
{
    std::error_code ignored;
    if (fs::equivalent(one, other, ignored)) return true;
    return fs::weakly_canonical(one, ignored) == fs::weakly_canonical(other, ignored);
}

} // namespace

// A device such as /dev/null may be named twice; a file may not.
void refuse_overwriting(const std::string& option, const std::string& output, const std::string& other, const std::string& what)
{
    std::error_code ignored;
    const bool device = fs::exists(output, ignored) && !fs::is_regular_file(output, ignored);
    if (!device && same_file(output, other))
        throw CommandFailure(exit_code::usage, option + " " + output + " would overwrite " + what + "; name another file");
}

void write_output(const std::string& path, std::span<const std::uint8_t> bytes, Settle settle)
{
    try {
        write_whole_file(path, bytes, 0666, settle);
    } catch (const std::system_error& error) {
        const int code = error.code().value();
        const bool on_the_way = code == EIO || code == ENOSPC || code == EDQUOT || code == EPIPE;
        throw CommandFailure(
            on_the_way ? exit_code::input_output : exit_code::cannot_create,
            path + ": cannot be written: " + error.code().message() +
                (on_the_way ? "; make room or choose another disk" : "; choose a folder that is there and may be written"));
    }
}

namespace
{

template <std::size_t N> std::string_view text_of(const std::array<char, N>& text) { return {text.data(), ::strnlen(text.data(), N)}; }

ReportHead head_of(const PlayerConfig& player, std::string_view mode, std::optional<Regret> regret,
                   std::optional<std::span<const WishOutcome>> wishes)
{
    const auto& strings = player.instrument.strings;
    return {text_of(player.instrument.name), text_of(player.target.name), mode, {strings.data(), strings.size()}, regret, wishes,
            delays_of(player).hold};
}

} // namespace

StandardFile midi_file_from(const std::string& path, bool verbose)
{
    FileRead read = read_standard_file(bytes_of(path, midi_kind));
    if (const auto* problem = std::get_if<FileProblem>(&read))
        throw CommandFailure(exit_code::bad_data,
                             path + ": byte " + std::to_string(problem->offset) + ": " + problem->what + "; " + problem->remedy);
    StandardFile& file = std::get<StandardFile>(read);
    leave_what_was_played(file);
    if (file.end.ns > hours_at_most * 3'600'000'000'000)
        throw CommandFailure(exit_code::bad_data, path + ": lasts longer than 12 hours; shorten the rests or divide the piece");
    if (verbose)
        for (const FileWarning& warning : file.warnings)
            std::fprintf(stderr, "%s: byte %zu: %s\n", path.c_str(), warning.offset, warning.what.c_str());
    return std::move(file);
}

// No output may be the input, the wishes or another output.
void refuse_overwriting(const BowingAsked& asked)
{
    auto outputs = files_of(asked.papers);
    if (asked.out) outputs.insert(outputs.begin(), {"--out", *asked.out});
    if (asked.part) outputs.push_back({"--part", asked.part->file});
    for (std::size_t i = 0; i < outputs.size(); ++i) {
        const auto& [option, path] = outputs[i];
        refuse_overwriting(option, path, asked.in, "the input");
        for (std::size_t j = 0; j < i; ++j) refuse_overwriting(option, path, outputs[j].second, "the file of " + outputs[j].first);
        if (asked.wishes) refuse_overwriting(option, path, *asked.wishes, "the wishes");
        if (asked.alike) refuse_overwriting(option, path, asked.alike->file, "the other performance");
        if (asked.alike && asked.alike->wishes) refuse_overwriting(option, path, *asked.alike->wishes, "the other performance's wishes");
    }
}

namespace
{

std::optional<AlikeAsked> alike_asked(const Arguments& arguments)
{
    const auto file = arguments.value("--alike");
    for (const std::string option : {"--alike-instrument", "--alike-wishes"})
        if (!file && arguments.has(option))
            throw CommandFailure(exit_code::usage, "bowarmd replay: " + option + " is of use only with --alike; give both");
    if (!file) return std::nullopt;
    if (!arguments.has("--hindsight"))
        throw CommandFailure(exit_code::usage, "bowarmd replay: --alike is of use only with --hindsight; give both");
    return AlikeAsked{*file, arguments.value("--alike-instrument"), arguments.value("--alike-wishes")};
}

BowingAsked asked_by(const Arguments& arguments)
{
    BowingAsked asked{arguments.operands().front(),
                      arguments.value("--out"),
                      arguments.value("--wishes"),
                      papers_wish(arguments),
                      arguments.has("--hindsight"),
                      arguments.has("--compensate"),
                      {},
                      arguments.has("--verbose")};
    if (const auto bars = arguments.value("--bars")) asked.bars = bars_of("--bars", *bars);
    if (asked.bars && !asked.hindsight)
        throw CommandFailure(exit_code::usage, "bowarmd replay: --bars is of use only with --hindsight; give both");
    asked.part = part_asked(arguments, asked.in);
    asked.pencil = pencil_place("replay", arguments);
    asked.alike = alike_asked(arguments);
    refuse_overwriting(asked);
    if (!asked.out && !asked.part && files_of(asked.papers).empty() && !asked.papers.fail_on && !asked.hindsight)
        throw CommandFailure(exit_code::usage, "bowarmd replay: --out is needed, or another output; see bowarmd replay --help");
    return asked;
}

// Wishes as they were given: a text, or the marks of a part, which mean nothing until the notes are known.
struct Given {
    std::vector<Wish> text;
    std::optional<std::vector<part::PencilNote>> pencil;
};

std::string document_in(const std::vector<std::uint8_t>& bytes, const std::string& path)
{
    auto unpacked = part::uncompressed(bytes, part::document_bytes_at_most);
    if (const auto* problem = std::get_if<part::NotUnpacked>(&unpacked))
        throw CommandFailure(exit_code::bad_data, path + ": " + problem->what + "; " + problem->remedy);
    return std::get<std::string>(std::move(unpacked));
}

template <class Read> Read or_failure(std::variant<Read, WishProblem> read, const std::string& path)
{
    if (const auto* problem = std::get_if<WishProblem>(&read))
        throw CommandFailure(exit_code::bad_data, path + ":" + std::to_string(problem->line) + ":" + std::to_string(problem->column) +
                                                      ": " + problem->what + "; " + problem->remedy);
    return std::get<Read>(std::move(read));
}

Given wishes_from(const std::string& path, const part::PencilPlace& place)
{
    const std::vector<std::uint8_t> bytes = bytes_of(path, wishes_kind);
    const std::string_view text{reinterpret_cast<const char*>(bytes.data()), bytes.size()};
    if (part::is_compressed(bytes)) return {{}, or_failure(part::read_pencil(document_in(bytes, path), place), path)};
    if (part::is_music_xml(text)) return {{}, or_failure(part::read_pencil(text, place), path)};
    return {or_failure(read_wishes(text), path), std::nullopt};
}

// A part was not written for this take: where its marks contradict each other, the first one counts.
Meant meant_by(const std::vector<Wish>& wishes, bool from_part, const std::string& path, const Recorder& live, const PlayerConfig& player)
{
    auto meant = strokes_meant(wishes, live, player.meter_beats, from_part);
    if (const auto* c = std::get_if<Contradiction>(&meant))
        throw CommandFailure(exit_code::bad_data, path + ":" + std::to_string(c->line) + ": contradicts line " +
                                                      std::to_string(c->first_line) + ", which means the same stroke; keep one of them");
    return std::get<Meant>(std::move(meant));
}

} // namespace

// A player that is late by as much as its slowest note needs can send every note in time; the file is then moved back by that.
void make_room_to_compensate(PlayerConfig& player)
{
    const Seconds needed = player.chord_hold + time_ahead(player.target);
    if (player.delay < needed) player.delay = needed;
    if (longest_delay(player.target) > Seconds{0}) return;
    std::fprintf(stderr, "--compensate: target %s says nowhere that it speaks late; give its techniques speaks_after_s\n",
                 std::string{text_of(player.target.name)}.c_str());
}

part::PencilPlace pencil_place(std::string_view command, const Arguments& arguments)
{
    const auto usage = [&](std::string_view option, std::string_view what) {
        return CommandFailure(exit_code::usage, "bowarmd " + std::string{command} + ": " + std::string{option} + std::string{what});
    };
    for (const std::string_view option : {"--wishes-part", "--wishes-staff", "--wishes-voice"})
        if (arguments.has(option) && !arguments.has("--wishes")) throw usage(option, " is of use only with --wishes; give both");
    part::PencilPlace place;
    place.part = arguments.value("--wishes-part").value_or("");
    place.voice = arguments.value("--wishes-voice").value_or("");
    if (const auto staff = arguments.value("--wishes-staff")) {
        const auto [end, error] = std::from_chars(staff->data(), staff->data() + staff->size(), place.staff);
        if (error != std::errc{} || end != staff->data() + staff->size() || place.staff < 1 || place.staff > 100)
            throw usage("--wishes-staff", " needs the number of a staff, counted from the top: 1, 2");
    }
    return place;
}

BowedPiece bow_as_asked(const BowingAsked& asked, const Piece& of, std::span<const OthersBowing> others)
{
    const PlayerConfig& player = of.player;
    const Given given = asked.wishes ? wishes_from(*asked.wishes, asked.pencil) : Given{};
    Piece piece = of;
    piece.watch = asked.papers.needs_motion() && !asked.hindsight;

    BowedPiece bowed;
    bowed.live = bow_live(piece, {});
    const std::vector<Wish> wishes = given.pencil ? part::wishes_of(*given.pencil, bowed.live.take, player) : given.text;
    Meant meant;
    if (!wishes.empty()) meant = meant_by(wishes, given.pencil.has_value(), *asked.wishes, bowed.live.take, player);
    if (!meant.wished.empty()) bowed.live = bow_live(piece, meant.wished);
    if (asked.bars && !asked.among_others) refuse_unknown_bars(*asked.bars, bowed.live.take, asked.in);
    piece.watch = asked.papers.needs_motion() && asked.hindsight;
    if (asked.hindsight && !asked.bars)
        bowed.again = bow_as_understood(piece, bowed.live.take, meant.wished, bowed.hindsight, others);
    else if (asked.hindsight || asked.papers.tells_regret())
        bowed.again = bow_with_hindsight(piece, bowed.live.take, meant.wished, asked.bars, bowed.hindsight, others);
    if (!asked.hindsight) bowed.again.reset(); // only its cost was wanted
    bowed.outcomes = outcomes_of(player.instrument, wishes, meant, bowed.bowing().take);
    return bowed;
}

int say_and_write(const BowingAsked& asked, const BowedPiece& bowed, const PlayerConfig& player)
{
    if (bowed.again) say_what_changed(bowed.live.take, bowed.again->take, bowed.hindsight);
    const Bowing& bowing = bowed.bowing();
    if (asked.out) write_output(*asked.out, sent_as_midi_file(bowing.take, asked.compensate ? delays_of(player).total() : Duration{0}));
    std::optional<std::span<const WishOutcome>> told;
    if (asked.wishes) told = bowed.outcomes;
    std::optional<Regret> regret;
    if (asked.papers.tells_regret()) regret = Regret{bowed.hindsight.regret(), bowed.hindsight.differing};
    const ReportHead head = head_of(player, asked.hindsight ? "hindsight" : "live", regret, told);
    write_papers(asked.papers, {bowing.take, bowing.motion, player, fs::path(asked.in).stem().string(), head});
    if (asked.part) write_part(*asked.part, bowing.take, player);
    if (asked.verbose) say_warnings(bowing.take);
    if (!bowing.at_rest)
        throw CommandFailure(exit_code::internal,
                             asked.in + ": the arm found no rest a minute after the end and was stopped; please report it with the file");
    const bool obeyed = !asked.wishes || say_outcomes(bowed.outcomes, *asked.wishes);
    const bool warned = asked.papers.fail_on && has_remark(bowing.take, *asked.papers.fail_on);
    return obeyed && !warned ? exit_code::fine : exit_code::with_warnings;
}

int bow_and_write(const BowingAsked& asked, const Piece& piece, std::span<const OthersBowing> others)
{
    return say_and_write(asked, bow_as_asked(asked, piece, others), piece.player);
}

namespace
{

// The other performance, bowed first.
std::vector<OthersBowing> followed_by(const BowingAsked& asked, const Arguments& arguments, const PlayerConfig& usual)
{
    if (!asked.alike) return {};
    const AlikeAsked& alike = *asked.alike;
    const PlayerConfig player = alike.instrument ? settings_for(arguments, *alike.instrument).player : usual;
    const StandardFile file = midi_file_from(alike.file, asked.verbose);
    const BowingAsked first{alike.file, {}, alike.wishes, {}, true, false, {}, false};
    const BowedPiece bowed = bow_as_asked(first, Piece{player, inputs_of(file, Source{0}), file.end});
    return bowings_to_follow(player, bowed.bowing().take);
}

} // namespace

int replay_command(const Arguments& arguments)
{
    BowingAsked asked = asked_by(arguments);
    const StandardFile file = midi_file_from(asked.in, asked.verbose);
    if (asked.part) asked.part->options.keys = keys_told(file);
    const Settings settings = settings_from(arguments);
    PlayerConfig player = settings.player;
    if (asked.compensate) make_room_to_compensate(player);
    const std::vector<OthersBowing> others = followed_by(asked, arguments, player);
    return bow_and_write(asked, Piece{player, inputs_of(file, Source{0}), file.end}, others);
}

} // namespace bowarm
