#include "commands/takes.hpp"

#include "commands/bow_together.hpp"
#include "commands/check.hpp"
#include "commands/exit_codes.hpp"
#include "commands/replay.hpp"
#include "commands/replay_part.hpp"
#include "commands/replay_words.hpp"
#include "commands/take_words.hpp"
#include "player/delays.hpp"
#include "studio/build_id.hpp"
#include "studio/folders.hpp"
#include "studio/journal_writer.hpp"
#include "studio/kept_configuration.hpp"
#include "studio/left_over.hpp"
#include "studio/nearest_word.hpp"
#include "studio/take_folder.hpp"
#include "studio/text_array.hpp"
#include "take/joined.hpp"
#include "take/replayed.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <span>
#include <system_error>
#include <utility>
#include <vector>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

// A journal and the players that it was played by.
struct Told {
    Journal journal;
    TakeSpan span;
    std::vector<PlayerConfig> players;
    std::vector<std::size_t> asked; // the numbers of those who were asked for; all where nobody was named

    std::string name_of(std::size_t player) const { return std::string{text_of(players[player].name)}; }
};

std::vector<std::size_t> players_asked(const Told& told, const Arguments& arguments)
{
    std::vector<std::size_t> found;
    std::vector<std::string_view> names;
    const auto asked = arguments.value("--player");
    for (std::size_t i = 0; i < told.players.size(); ++i) {
        names.push_back(text_of(told.players[i].name));
        if (!asked || names.back() == *asked) found.push_back(i);
    }
    if (found.empty())
        throw CommandFailure(exit_code::usage,
                             "--player " + shown(*asked) + ": nobody of that name plays in the take; " + suggestion(*asked, names));
    return found;
}

// Who can only be bowed alone has to be named.
std::size_t one_player(const Told& told, const std::string& deed)
{
    if (told.asked.size() == 1) return told.asked.front();
    std::string names;
    for (const std::size_t player : told.asked) names += (names.empty() ? "" : ", ") + told.name_of(player);
    throw CommandFailure(exit_code::usage, "bowarmd takes " + deed + ": the take has several players; give --player with one of " + names);
}

Told told_by(Journal journal, const std::string& name, const Arguments& arguments)
{
    if (!journal.is_journal) throw CommandFailure(exit_code::bad_data, name + ": " + journal.damage + "; name a take's journal");
    const auto span = span_of(journal, to_duration(TakeSettings{}.silence));
    if (!span) throw CommandFailure(exit_code::bad_data, name + ": nothing was played in it");
    Loaded loaded = settings_of(texts_for(journal, *span));
    if (const auto* problems = std::get_if<std::vector<Problem>>(&loaded))
        throw CommandFailure(exit_code::bad_data,
                             name + ": this version does not understand its configuration: " + problems->front().line());
    Told told{std::move(journal), *span, configs_of(std::get<Settings>(loaded)), {}};
    told.asked = players_asked(told, arguments);
    return told;
}

std::vector<PlayersReplay> replays_of(const Told& told)
{
    std::vector<PlayersReplay> all;
    for (const std::size_t player : told.asked)
        all.push_back({told.players[player], replayed(told.journal, told.span, told.players[player], player)});
    return all;
}

std::vector<PlayersTake> takes_of(const std::vector<PlayersReplay>& replays)
{
    std::vector<PlayersTake> all;
    for (const PlayersReplay& one : replays) all.push_back({one.replay.take, one.player});
    return all;
}

class Folder
{
public:
    explicit Folder(const Arguments& arguments)
    {
        if (const auto asked = arguments.value("--takes"))
            path_ = *asked;
        else
            path_ = take_folder_of(settings_from(arguments), std::nullopt);
        if (path_.empty()) throw CommandFailure(exit_code::no_input, "bowarmd takes: no place for takes; give --takes FOLDER");
    }

    const fs::path& path() const { return path_; }
    KeptTake take(const std::string& word) const
    {
        if (const auto found = take_called(path_, word)) return *found;
        throw CommandFailure(exit_code::no_input,
                             "bowarmd takes: no take '" + shown(word) + "' in " + path_.string() + "; see bowarmd takes list");
    }
    Told told(const KeptTake& take, const Arguments& arguments) const
    {
        const fs::path journal = files_named(path_, take.stem).journal;
        if (!take.has_journal)
            throw CommandFailure(exit_code::no_input, take.stem + ": has no journal; bow what was played with bowarmd replay " +
                                                          files_named(path_, take.stem).played.string());
        return told_by(read_journal(bytes_of_file(journal)), journal.string(), arguments);
    }

private:
    fs::path path_;
};

using Words = std::span<const std::string>;

std::string out_of(const Arguments& arguments, const std::string& what)
{
    if (const auto out = arguments.value("--out")) return *out;
    throw CommandFailure(exit_code::usage, "bowarmd takes " + what + ": --out FILE is needed");
}

int list(const Folder& folder, Words, const Arguments&)
{
    const auto takes = takes_in(folder.path());
    for (std::size_t i = 0; i < takes.size(); ++i) std::printf("%s\n", list_line(i + 1, takes[i]).c_str());
    if (takes.empty()) std::printf("no takes in %s\n", folder.path().c_str());
    return exit_code::fine;
}

int show(const Folder& folder, Words words, const Arguments& arguments)
{
    const KeptTake take = folder.take(words[0]);
    std::printf("%s\n", list_line(0, take).c_str());
    const Told told = folder.told(take, arguments);
    std::fputs(take_text(told.journal, replays_of(told)).c_str(), stdout);
    return exit_code::fine;
}

// Of a take that another build played, what this one sends is written; that is said.
int export_take(const Folder& folder, Words words, const Arguments& arguments)
{
    const std::string out = out_of(arguments, "export");
    const Told told = folder.told(folder.take(words[0]), arguments);
    const std::vector<PlayersReplay> replays = replays_of(told);
    write_output(out, take_as_midi_file(named(takes_of(replays))));
    std::fputs(sameness_text(told.journal, replays).c_str(), stdout);
    return exit_code::fine;
}

int delete_takes(const Folder& folder, Words words, const Arguments&)
{
    std::vector<KeptTake> takes; // all are there, or none is deleted
    for (const std::string& word : words) takes.push_back(folder.take(word));
    for (const KeptTake& take : takes) {
        delete_take(folder.path(), take.stem);
        std::printf("deleted %s\n", take.stem.c_str());
    }
    return exit_code::fine;
}

int keep(const Folder& folder, Words words, const Arguments&)
{
    keep_take(folder.path(), folder.take(words[0]).stem);
    return exit_code::fine;
}

int name(const Folder& folder, Words words, const Arguments&)
{
    name_take(folder.path(), folder.take(words[0]).stem, words[1]);
    return exit_code::fine;
}

int bow_take_again(const Folder& folder, Words words, const Arguments& arguments)
{
    const KeptTake take = folder.take(words[0]);
    BowingAsked asked{
        take.stem, arguments.value("--out"), arguments.value("--wishes"), papers_wish(arguments), true, arguments.has("--compensate"), {},
        false};
    asked.pencil = pencil_place("takes", arguments);
    if (const auto bars = arguments.value("--bars")) asked.bars = bars_of("--bars", *bars);
    asked.part = part_asked(arguments, take.stem);
    refuse_overwriting(asked);
    Told told = folder.told(take, arguments);
    std::vector<PlayersPiece> pieces;
    for (const std::size_t number : told.asked) {
        if (asked.compensate) make_room_to_compensate(told.players[number]);
        pieces.push_back({told.name_of(number), piece_of(told.journal, told.span, told.players[number], number)});
    }
    const auto wishes_for = arguments.value("--wishes-for");
    if (pieces.size() > 1) return bow_together(asked, wishes_for, pieces);
    if (wishes_for) throw CommandFailure(exit_code::usage, "bowarmd takes bow-again: --wishes-for is of use only with several players");
    return bow_and_write(asked, pieces.front().piece);
}

std::int32_t bar_asked(const Arguments& arguments)
{
    const std::string text = arguments.value("--at").value_or("");
    std::int32_t bar = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), bar);
    if (error != std::errc{} || end != text.data() + text.size() || bar < 1)
        throw CommandFailure(exit_code::usage, "bowarmd takes join: --at needs a bar, counted from 1");
    return bar;
}

BarLine line_in(const Recorder& take, std::int32_t bar, const std::string& name)
{
    if (const auto line = bar_line(take, bar)) return *line;
    refuse_unknown_bars({bar, bar}, take, name);
    throw CommandFailure(exit_code::bad_data, name + ": where bar " + std::to_string(bar) + " begins is not known");
}

int join(const Folder& folder, Words words, const Arguments& arguments)
{
    const std::string out = out_of(arguments, "join");
    const std::int32_t bar = bar_asked(arguments);
    const KeptTake one = folder.take(words[0]), other = folder.take(words[1]);
    const Told first = folder.told(one, arguments), second = folder.told(other, arguments);
    const std::size_t player = one_player(first, "join"), twin = one_player(second, "join");
    const PlayerConfig &config = first.players[player], &other_config = second.players[twin];
    if (text_of(config.instrument.name) != text_of(other_config.instrument.name))
        throw CommandFailure(exit_code::usage, "bowarmd takes join: the takes are of two instruments");
    const Recorder a = replayed(first.journal, first.span, config, player).take,
                   b = replayed(second.journal, second.span, other_config, twin).take;
    Piece piece = piece_of(first.journal, first.span, config, player);
    const BarLine seam = line_in(a, bar, one.stem);
    piece.inputs = joined(a, seam, b, line_in(b, bar, other.stem));
    piece.end = piece.inputs.back().at;
    const Bowing bowed = bow_live(piece, {});
    write_output(out, take_as_midi_file(bowed.take));
    std::printf("%s", seam_text(bowed.take, seam.at - Duration{seam.beat.ns / 8}, bar).c_str());
    return exit_code::fine;
}

struct Deed {
    std::string_view word;
    std::size_t words_least, words_most; // behind it
    int (*done)(const Folder&, Words, const Arguments&);
    std::string_view options; // that it understands, beside those that say where takes lie
};
constexpr std::string_view bowing_options =
    "--out --player --wishes --wishes-for --wishes-part --wishes-staff --wishes-voice --bars --compensate --report --report-form --fail-on "
    "--chart --chart-bars --wav --sheet --part --first-bar "
    "--rehearsal --cue ";
constexpr Deed deeds[] = {
    {"list", 0, 0, list, ""},
    {"show", 1, 1, show, "--player "},
    {"export", 1, 1, export_take, "--out --player "},
    {"delete", 1, 999, delete_takes, ""},
    {"keep", 1, 1, keep, ""},
    {"name", 2, 2, name, ""},
    {"bow-again", 1, 1, bow_take_again, bowing_options},
    {"join", 2, 2, join, "--out --at --player "},
};

// What an option asks for is done, or refused; never passed over.
void refuse_other_options(const Deed& deed, const Arguments& arguments)
{
    for (const std::string_view given : arguments.names())
        if (given != "--takes" && given != "--config" && deed.options.find(std::string{given} + " ") == std::string_view::npos)
            throw CommandFailure(exit_code::usage, "bowarmd takes " + std::string{deed.word} + ": " + std::string{given} +
                                                       " has no meaning here; see bowarmd takes --help");
}

const Deed& deed_called(const std::string& word)
{
    const auto found = std::find_if(std::begin(deeds), std::end(deeds), [&](const Deed& deed) { return deed.word == word; });
    if (found != std::end(deeds)) return *found;
    std::vector<std::string_view> known;
    for (const Deed& deed : deeds) known.push_back(deed.word);
    throw CommandFailure(exit_code::usage, "bowarmd takes: no '" + shown(word) + "'; " + suggestion(word, known));
}

// Whatever could be read is written; where nobody knows who played, what was played, by all together.
int write_recovered(const std::string& out, const std::optional<std::string>& report, const LeftOverTake& left, const Arguments& arguments)
{
    const Journal& journal = left.journal->journal();
    const std::string name = left.journal->path().string();
    if (left.players.empty()) {
        Recorder take;
        take.begin_at(left.span->first);
        for (const JournalInput& input : journal.inputs)
            if (input.at >= left.span->first && input.at <= left.span->last) take.input(input);
        write_output(out, played_as_midi_file(take));
        std::fprintf(stderr, "%s: this version does not understand its configuration, so only what was played is written: %s\n",
                     name.c_str(), left.problem.c_str());
        return exit_code::with_warnings;
    }
    Told told{journal, *left.span, left.players, {}};
    told.asked = players_asked(told, arguments);
    const std::vector<PlayersReplay> replays = replays_of(told);
    const std::vector<PlayersTake> takes = takes_of(replays);
    write_output(out, take_as_midi_file(named(takes)));
    if (report) {
        const std::string text = report_of_takes(takes);
        write_output(*report, {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
    }
    std::fputs(take_text(journal, replays).c_str(), stdout);
    return exit_code::fine;
}

} // namespace

fs::path take_folder_of(const Settings& settings, const std::optional<std::string>& asked)
{
    if (asked) return fs::absolute(*asked);
    if (!settings.take.folder.empty()) return settings.take.folder;
    if (const fs::path state = state_home(); !state.empty()) return state / "bowarm" / "takes";
    return {};
}

int takes_command(const Arguments& arguments)
{
    const auto& operands = arguments.operands();
    const Deed& deed = deed_called(operands.empty() ? "list" : operands.front());
    const Words words = Words{operands}.subspan(operands.empty() ? 0 : 1);
    if (words.size() < deed.words_least || words.size() > deed.words_most)
        throw CommandFailure(exit_code::usage, "bowarmd takes " + std::string{deed.word} + ": " +
                                                   (words.size() < deed.words_least ? "names too few takes" : "names too many takes") +
                                                   "; see bowarmd takes --help");
    refuse_other_options(deed, arguments);
    try {
        return deed.done(Folder{arguments}, words, arguments);
    } catch (const std::system_error& trouble) {
        throw CommandFailure(exit_code::input_output, "bowarmd takes: " + std::string{trouble.what()});
    }
}

int recover_command(const Arguments& arguments)
{
    const std::string& path = arguments.operands().front();
    const std::string out = *arguments.value("--out");
    const auto report = arguments.value("--report");
    refuse_overwriting("--out", out, path, "the journal");
    if (report) refuse_overwriting("--report", *report, path, "the journal");
    if (report) refuse_overwriting("--report", *report, out, "the file of --out");
    try {
        auto journal = LeftOver::take(path);
        if (!journal && errno == EWOULDBLOCK)
            throw CommandFailure(exit_code::try_later, path + ": a running service writes it; stop that first");
        if (!journal) {
            const bool missing = errno == ENOENT || errno == ENOTDIR;
            throw CommandFailure(missing ? exit_code::no_input : exit_code::input_output,
                                 path + ": " + std::strerror(errno) + "; name a journal from the folder of takes");
        }
        const Journal& read = journal->journal();
        if (!read.is_journal)
            throw CommandFailure(exit_code::bad_data, path + ": " + read.damage + "; name a journal from the folder of takes");
        const LeftOverTake left = left_over_take(std::move(journal), to_duration(TakeSettings{}.silence));
        if (!left.span) throw CommandFailure(exit_code::bad_data, path + ": nothing was played in it");
        return write_recovered(out, report, left, arguments);
    } catch (const std::system_error& trouble) {
        throw CommandFailure(exit_code::input_output, path + ": " + trouble.code().message());
    }
}

} // namespace bowarm
