#include "take/second_bowing.hpp"

#include <algorithm>
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
    std::size_t count = 0;
    for (std::size_t i = 0; i < live.decisions().size(); ++i) count += live.decisions()[i].direction != again.decisions()[i].direction;
    return count;
}

} // namespace

Bowing bow_live(const Piece& piece, const std::vector<WishedStroke>& wishes) { return bow(piece, {}, wishes); }

Bowing bow_with_hindsight(const Piece& piece, const Recorder& live, const std::vector<WishedStroke>& wishes, std::optional<Bars> only,
                          Hindsight& hindsight)
{
    hindsight = bow_again(piece.player.instrument, live, only);
    Bowing again = bow(piece, hindsight.plan, wishes);
    const auto cost = cost_as_bowed(piece.player.instrument, live, again.take);
    const bool legal = !only || kept_outside(live, again.take, *only);
    hindsight.live_kept = !legal || !cost || *cost >= hindsight.live_cost;
    hindsight.cost = hindsight.live_kept ? hindsight.live_cost : *cost;
    hindsight.differing = hindsight.live_kept ? 0 : differing(live, again.take);
    return hindsight.live_kept ? bow_live(piece, wishes) : std::move(again);
}

} // namespace bowarm
