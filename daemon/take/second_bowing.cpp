#include "take/second_bowing.hpp"

#include "player/delays.hpp"

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

Bowing bow(const Piece& piece, const std::vector<PlannedStroke>& plan, const std::vector<WishedStroke>& wishes)
{
    Player player(piece.player);
    player.bow_by(plan);
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

// How it would be bowed by the plan; what is not in it stays.
OthersBowing planned_bowing(const PlayerConfig& player, const Recorder& live, const std::vector<PlannedStroke>& plan)
{
    std::vector<Decision> decisions = live.decisions();
    const auto before = [](const PlannedStroke& planned, std::uint32_t note) { return planned.note < note; };
    for (Decision& d : decisions) {
        const auto planned = std::lower_bound(plan.begin(), plan.end(), d.note, before);
        if (planned != plan.end() && planned->note == d.note) d.direction = planned->direction;
    }
    return bowing_to_follow(decisions, delays_of(player).hold);
}

// What a desk follows: the others, then the desks before it as they were planned.
class Leaders
{
public:
    Leaders(const PlayerConfig& player, std::span<const OthersBowing> others)
        : player_(player), bowings_(others.begin(), others.end()), later_(delays_of(player).hold)
    {
    }
    void add(const Recorder& live, const std::vector<PlannedStroke>& plan) { bowings_.push_back(planned_bowing(player_, live, plan)); }
    Followed followed() const { return {bowings_, later_}; }

private:
    const PlayerConfig& player_;
    std::vector<OthersBowing> bowings_;
    Duration later_;
};

// The take itself where one player bowed it.
class EachDesk
{
public:
    EachDesk(const PlayerConfig& player, const Recorder& take) : take_(take)
    {
        if (player.desks > 1) parted_ = by_desk(take, player.desks);
    }
    std::size_t size() const { return parted_.empty() ? 1 : parted_.size(); }
    const Recorder& operator[](std::size_t desk) const { return parted_.empty() ? take_ : parted_[desk]; }

private:
    const Recorder& take_;
    std::vector<Recorder> parted_;
};

std::optional<double> cost_of_desks(const PlayerConfig& player, const Recorder& live, const Recorder& again,
                                    const std::vector<PlannedStroke>& plan, std::span<const OthersBowing> others)
{
    const EachDesk before(player, live), after(player, again);
    Leaders leaders(player, others);
    double sum = 0;
    for (std::size_t d = 0; d < before.size(); ++d) {
        const auto cost = cost_as_bowed(player.instrument, before[d], after[d], leaders.followed());
        if (!cost) return std::nullopt;
        sum += *cost;
        leaders.add(before[d], plan);
    }
    return sum;
}

// Of the desks together; those before are followed as they bowed.
Alike alike_of_desks(const PlayerConfig& player, const Recorder& bowed, std::span<const OthersBowing> others)
{
    Leaders leaders(player, others);
    Alike sum;
    const EachDesk desks(player, bowed);
    for (std::size_t d = 0; d < desks.size(); ++d) {
        const Alike one = alike_in(desks[d].decisions(), leaders.followed());
        sum.doubled += one.doubled;
        sum.alike += one.alike;
        leaders.add(desks[d], {});
    }
    return sum;
}

} // namespace

std::vector<OthersBowing> bowings_to_follow(const PlayerConfig& player, const Recorder& bowed)
{
    std::vector<OthersBowing> bowings;
    const EachDesk desks(player, bowed);
    for (std::size_t d = 0; d < desks.size(); ++d) bowings.push_back(planned_bowing(player, desks[d], {}));
    return bowings;
}

Hindsight bow_desks_again(const PlayerConfig& player, const Recorder& live, std::optional<Bars> only, std::span<const OthersBowing> others)
{
    Leaders leaders(player, others);
    Hindsight all;
    all.live_kept = true;
    const EachDesk desks(player, live);
    for (std::size_t d = 0; d < desks.size(); ++d) {
        const Hindsight one = bow_again(player.instrument, desks[d], only, leaders.followed());
        all.plan.insert(all.plan.end(), one.plan.begin(), one.plan.end());
        all.cost += one.cost;
        all.live_cost += one.live_cost;
        all.live_kept = all.live_kept && one.live_kept;
        all.differing += one.differing;
        leaders.add(desks[d], one.plan);
    }
    std::sort(all.plan.begin(), all.plan.end(), [](const PlannedStroke& a, const PlannedStroke& b) { return a.note < b.note; });
    return all;
}

Bowing bow_live(const Piece& piece, const std::vector<WishedStroke>& wishes) { return bow(piece, {}, wishes); }

Bowing bow_with_hindsight(const Piece& piece, const Recorder& live, const std::vector<WishedStroke>& wishes, std::optional<Bars> only,
                          Hindsight& hindsight, std::span<const OthersBowing> others)
{
    hindsight = bow_desks_again(piece.player, live, only, others);
    Bowing again = bow(piece, hindsight.plan, wishes);
    const auto cost = cost_of_desks(piece.player, live, again.take, hindsight.plan, others);
    const bool legal = !only || kept_outside(live, again.take, *only);
    hindsight.live_kept = !legal || !cost || *cost >= hindsight.live_cost;
    hindsight.cost = hindsight.live_kept ? hindsight.live_cost : *cost;
    hindsight.differing = hindsight.live_kept ? 0 : differing(live, again.take);
    Bowing kept = hindsight.live_kept ? bow_live(piece, wishes) : std::move(again);
    const Alike before = alike_of_desks(piece.player, live, others), after = alike_of_desks(piece.player, kept.take, others);
    hindsight.doubled = after.doubled;
    hindsight.live_alike = before.alike;
    hindsight.alike = after.alike;
    return kept;
}

} // namespace bowarm
