#include "studio/left_over.hpp"

#include "studio/kept_configuration.hpp"
#include "studio/take_folder.hpp"

#include <algorithm>
#include <stdexcept>
#include <system_error>

namespace bowarm
{

std::vector<Replayed> all_replayed(const Journal& journal, const TakeSpan& span, std::span<const PlayerConfig> players)
{
    std::vector<Replayed> all;
    for (std::size_t i = 0; i < players.size(); ++i) all.push_back(replayed(journal, span, players[i], i));
    return all;
}

LeftOverTake left_over_take(std::shared_ptr<LeftOver> journal, Duration silence)
{
    LeftOverTake left{std::move(journal), {}, {}, {}};
    left.span = span_of(left.journal->journal(), silence);
    if (!left.span) return left;
    try {
        Loaded loaded = settings_of(texts_for(left.journal->journal(), *left.span));
        if (const auto* problems = std::get_if<std::vector<Problem>>(&loaded))
            left.problem = problems->front().line();
        else
            left.players = configs_of(std::get<Settings>(loaded));
    } catch (const std::system_error& trouble) { // one journal must not keep the service from starting
        left.problem = trouble.what();
    }
    return left;
}

std::vector<LeftOverTake> gather_left_over(const std::filesystem::path& folder, Duration silence)
{
    std::vector<LeftOverTake> all;
    for (auto& journal : left_over_in(folder)) all.push_back(left_over_take(std::move(journal), silence));
    return all;
}

std::string finish_left_over_take(const std::filesystem::path& folder, const LeftOverTake& left)
{
    if (!left.span) {
        // Damage may hide notes: such a file is for a person to look at.
        if (left.journal->journal().damage.empty()) left.journal->remove();
        return {};
    }
    if (left.players.empty()) throw std::runtime_error(left.problem);
    const Journal& journal = left.journal->journal();
    const std::vector<Replayed> replays = all_replayed(journal, *left.span, left.players);
    const auto is_note = [](const Fact& fact) { return fact.kind == FactKind::note_began; };
    const auto has_notes = [&](const Replayed& replay) {
        return std::any_of(replay.take.facts().begin(), replay.take.facts().end(), is_note);
    };
    if (std::none_of(replays.begin(), replays.end(), has_notes)) { // keys that do something instead of sounding
        left.journal->remove();
        return {};
    }
    std::vector<PlayersTake> takes;
    for (std::size_t i = 0; i < replays.size(); ++i) takes.push_back({replays[i].take, left.players[i]});
    const std::int64_t wall = (journal.head ? journal.head->wall_s : 0) + left.span->first.ns / 1'000'000'000;
    const std::string stem = free_stem(folder, take_stem(static_cast<std::time_t>(wall)));
    write_take_files(folder, stem, takes);
    left.journal->finish(*left.span, files_named(folder, stem).journal);
    return stem;
}

} // namespace bowarm
