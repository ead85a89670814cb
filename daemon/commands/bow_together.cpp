#include "commands/bow_together.hpp"

#include "commands/exit_codes.hpp"
#include "commands/replay_words.hpp"
#include "player/delays.hpp"
#include "studio/nearest_word.hpp"

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <set>
#include <utility>
#include <vector>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

// C.svg of the first violin is C-first violin.svg.
std::string path_for(const std::string& path, std::string name)
{
    std::replace(name.begin(), name.end(), '/', '-');
    const fs::path whole{path};
    return (whole.parent_path() / (whole.stem().string() + "-" + name + whole.extension().string())).string();
}

void name_papers(BowingAsked& asked, const std::string& name)
{
    for (auto* path : {&asked.papers.report, &asked.papers.chart, &asked.papers.sheet, &asked.papers.wav})
        if (*path) *path = path_for(**path, name);
}

void refuse_unclear_wishes(const BowingAsked& asked, const std::optional<std::string>& wishes_for, std::span<const PlayersPiece> players)
{
    std::vector<std::string_view> names;
    std::string listed;
    for (const PlayersPiece& one : players) {
        names.push_back(one.name);
        listed += (listed.empty() ? "" : ", ") + one.name;
    }
    const std::string self = "bowarmd takes bow-again: ";
    if (wishes_for && !asked.wishes) throw CommandFailure(exit_code::usage, self + "--wishes-for is of use only with --wishes; give both");
    if (asked.wishes && !wishes_for)
        throw CommandFailure(exit_code::usage, self + "wishes are one player's; give --wishes-for with one of " + listed);
    if (wishes_for && std::find(names.begin(), names.end(), *wishes_for) == names.end())
        throw CommandFailure(exit_code::usage, "--wishes-for " + shown(*wishes_for) + ": nobody of that name plays in the take; " +
                                                   suggestion(*wishes_for, names));
}

void refuse_one_file_for_two(std::span<const BowingAsked> each, const BowingAsked& together)
{
    std::set<std::string> all;
    if (together.out) all.insert(*together.out);
    if (together.part) all.insert(together.part->file);
    const auto add = [&all](const std::string& path) {
        if (!all.insert(path).second)
            throw CommandFailure(exit_code::usage, path + ": two outputs would be this file; give another name to one of them");
    };
    for (const BowingAsked& one : each)
        for (const auto& paper : files_of(one.papers)) add(paper.second);
}

std::vector<BowingAsked> asked_of_each(const BowingAsked& asked, const std::optional<std::string>& wishes_for,
                                       std::span<const PlayersPiece> players)
{
    std::vector<BowingAsked> each;
    for (const PlayersPiece& player : players) {
        BowingAsked own = asked;
        own.out.reset();
        own.part.reset();
        own.among_others = true;
        if (wishes_for != player.name) own.wishes.reset();
        name_papers(own, player.name);
        refuse_overwriting(own);
        each.push_back(std::move(own));
    }
    refuse_one_file_for_two(each, asked);
    return each;
}

// Each follows all who were bowed before.
std::vector<BowedPiece> bowed_in_turn(std::span<const BowingAsked> each, std::span<const PlayersPiece> players)
{
    std::vector<BowedPiece> bowed;
    std::vector<OthersBowing> others;
    for (std::size_t i = 0; i < players.size(); ++i) {
        const Piece& piece = players[i].piece;
        bowed.push_back(bow_as_asked(each[i], piece, others));
        for (OthersBowing& one : bowings_to_follow(piece.player, bowed.back().bowing().take)) others.push_back(std::move(one));
    }
    return bowed;
}

bool plays_in(const Recorder& take, const Bars& bars)
{
    return std::any_of(take.decisions().begin(), take.decisions().end(),
                       [&bars](const Decision& d) { return bars.first <= d.needs.beat.bar && d.needs.beat.bar <= bars.last; });
}

void refuse_empty_bars(const BowingAsked& asked, std::span<const BowedPiece> bowed)
{
    if (!asked.bars) return;
    const bool any = std::any_of(bowed.begin(), bowed.end(), [&](const BowedPiece& one) { return plays_in(one.live.take, *asked.bars); });
    if (!any) refuse_unknown_bars(*asked.bars, bowed.front().live.take, asked.in);
}

void write_together(const BowingAsked& asked, std::span<const PlayersPiece> players, std::span<const BowedPiece> bowed)
{
    std::vector<NamedTake> takes;
    std::vector<PlayersPart> parts;
    for (std::size_t i = 0; i < players.size(); ++i) {
        const PlayerConfig& player = players[i].piece.player;
        const Recorder& take = bowed[i].bowing().take;
        takes.push_back({players[i].name, take, asked.compensate ? delays_of(player).total() : Duration{0}});
        parts.push_back({take, player, players[i].name});
    }
    if (asked.out) write_output(*asked.out, sent_as_midi_file(takes));
    if (asked.part) write_score(*asked.part, parts);
}

} // namespace

int bow_together(const BowingAsked& asked, const std::optional<std::string>& wishes_for, std::span<const PlayersPiece> players)
{
    refuse_unclear_wishes(asked, wishes_for, players);
    const std::vector<BowingAsked> each = asked_of_each(asked, wishes_for, players);
    const std::vector<BowedPiece> bowed = bowed_in_turn(each, players);
    refuse_empty_bars(asked, bowed);
    write_together(asked, players, bowed);
    int code = exit_code::fine;
    for (std::size_t i = 0; i < players.size(); ++i) {
        std::printf("%s\n", players[i].name.c_str());
        code = std::max(code, say_and_write(each[i], bowed[i], players[i].piece.player));
    }
    return code;
}

} // namespace bowarm
