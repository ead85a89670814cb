#include "take/second_bowing.hpp"

#include <algorithm>
#include <unordered_map>
#include <utility>

namespace bowarm
{
namespace
{

struct Unheard final : Sink {
    void bundle(Time, std::span<const Message>) noexcept override {}
    void curve(Time, Controller, int) noexcept override {}
    void fact(const Fact&) noexcept override {}
};

Bowing bow(const Piece& piece, std::vector<PlannedStroke> plan, const std::vector<WishedStroke>& wishes)
{
    Player player(piece.player);
    player.bow_by(std::move(plan));
    player.obey(wishes);
    Unheard unheard;
    for (const Input& input : piece.past) {
        advance(player, input.at, unheard);
        player.on(input, unheard);
    }
    if (!piece.inputs.empty()) advance(player, piece.inputs.front().at, unheard);
    Bowing bowing;
    bowing.take.begin_at(piece.origin);
    if (piece.watch) bowing.motion.emplace(piece.player.desks);
    bowing.at_rest = perform(player, piece.inputs, piece.end, bowing.take, bowing.motion ? &*bowing.motion : nullptr);
    return bowing;
}

// The strokes may differ only where they were to be chosen anew.
bool kept_outside(const Recorder& live, const Recorder& again, const Bars& only)
{
    return std::equal(live.decisions().begin(), live.decisions().end(), again.decisions().begin(), again.decisions().end(),
                      [&only](const Decision& a, const Decision& b) {
                          const std::int32_t bar = a.needs.beat.bar;
                          const bool free = only.first <= bar && bar <= only.last;
                          return a.note == b.note && (free || (a.direction == b.direction && a.retake == b.retake));
                      });
}

// Of two bowings whose strokes begin with the same notes.
std::size_t differing(const Recorder& live, const Recorder& again)
{
    std::unordered_map<std::uint32_t, Direction> directions;
    for (const Decision& d : live.decisions()) directions[d.note] = d.direction;
    return static_cast<std::size_t>(std::count_if(again.decisions().begin(), again.decisions().end(), [&](const Decision& d) {
        const auto before = directions.find(d.note);
        return before != directions.end() && before->second != d.direction;
    }));
}

// What each desk decided, as if it had played alone, up to the end of the take.
std::vector<Recorder> by_desk(const Recorder& take, std::size_t desks)
{
    std::unordered_map<std::uint32_t, std::size_t> desk_of;
    for (const Fact& f : take.facts())
        if (f.kind == FactKind::note_began) desk_of.try_emplace(f.note, f.desk);
    Fact end;
    end.at = take.latest();
    std::vector<Recorder> each(desks);
    for (Recorder& desk : each) {
        desk.begin_at(take.origin());
        desk.fact(end);
    }
    for (const Decision& d : take.decisions()) {
        const auto desk = desk_of.find(d.note);
        if (desk != desk_of.end() && desk->second < desks) each[desk->second].decided(d.at, d.note, d.needs, d.direction, d.retake);
    }
    return each;
}

std::optional<double> cost_of_desks(const PlayerConfig& player, const Recorder& live, const Recorder& again)
{
    if (player.desks == 1) return cost_as_bowed(player.instrument, live, again);
    const std::vector<Recorder> before = by_desk(live, player.desks), after = by_desk(again, player.desks);
    double sum = 0;
    for (std::size_t d = 0; d < before.size(); ++d) {
        const auto cost = cost_as_bowed(player.instrument, before[d], after[d]);
        if (!cost) return std::nullopt;
        sum += *cost;
    }
    return sum;
}

} // namespace

Hindsight bow_desks_again(const PlayerConfig& player, const Recorder& live, std::optional<Bars> only)
{
    if (player.desks == 1) return bow_again(player.instrument, live, only);
    Hindsight all;
    all.live_kept = true;
    for (const Recorder& desk : by_desk(live, player.desks)) {
        const Hindsight one = bow_again(player.instrument, desk, only);
        all.plan.insert(all.plan.end(), one.plan.begin(), one.plan.end());
        all.cost += one.cost;
        all.live_cost += one.live_cost;
        all.live_kept = all.live_kept && one.live_kept;
        all.differing += one.differing;
    }
    std::sort(all.plan.begin(), all.plan.end(), [](const PlannedStroke& a, const PlannedStroke& b) { return a.note < b.note; });
    return all;
}

Bowing bow_live(const Piece& piece, const std::vector<WishedStroke>& wishes) { return bow(piece, {}, wishes); }

Bowing bow_with_hindsight(const Piece& piece, const Recorder& live, const std::vector<WishedStroke>& wishes, std::optional<Bars> only,
                          Hindsight& hindsight)
{
    hindsight = bow_desks_again(piece.player, live, only);
    Bowing again = bow(piece, hindsight.plan, wishes);
    const auto cost = cost_of_desks(piece.player, live, again.take);
    const bool legal = !only || kept_outside(live, again.take, *only);
    hindsight.live_kept = !legal || !cost || *cost >= hindsight.live_cost;
    hindsight.cost = hindsight.live_kept ? hindsight.live_cost : *cost;
    hindsight.differing = hindsight.live_kept ? 0 : differing(live, again.take);
    return hindsight.live_kept ? bow_live(piece, wishes) : std::move(again);
}

} // namespace bowarm
