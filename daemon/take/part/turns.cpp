#include "take/part/turns.hpp"

#include "take/part/rhythm.hpp"

#include <algorithm>
#include <cstdlib>

namespace bowarm::part
{
namespace
{

class Parting
{
public:
    Parting(std::span<const PlayedNote> notes, std::span<const Bar> bars, std::span<const Division> tuplets)
        : notes_(notes), bars_(bars), tuplets_(tuplets)
    {
    }

    void add(Segment segment)
    {
        const PlayedNote& lead = notes_[segment.lead()];
        if (segment.grace || segment.tremolo > 0 || !lead.bowed()) {
            out_.push_back(std::move(segment));
            return;
        }
        for (const Turn& turn : lead.turns) {
            const Ticks at = static_cast<Ticks>(turn.onset * static_cast<double>(ticks_a_quarter) + 0.5);
            if (at < segment.begin || at >= segment.end) continue;
            const Ticks beat = nearest(at, 1);
            if (beat <= segment.begin && lead.told.slurred && segment.new_attack()) {
                segment.turn = turn;
                continue;
            }
            if (beat >= segment.end) continue; // what follows is on the new bow
            const Ticks here = beat > segment.begin ? beat : nearest(at, parts_of_beat(at));
            if (here > segment.begin && here < segment.end) part(segment, here, turn);
        }
        out_.push_back(std::move(segment));
    }

    std::vector<Segment> take() { return std::move(out_); }

private:
    // The first half stands; `segment` is what is left.
    void part(Segment& segment, Ticks at, const Turn& turn)
    {
        Segment first = segment;
        first.end = at;
        for (Head& head : first.heads) head.tied_on = true;
        out_.push_back(std::move(first));
        segment.begin = at;
        segment.turn = turn;
        segment.trill = false;
        for (Head& head : segment.heads) head.tied_from = true;
    }

    const Bar& bar_at(Ticks at) const
    {
        const auto after = std::upper_bound(bars_.begin(), bars_.end(), at, [](Ticks t, const Bar& bar) { return t < bar.begin; });
        return after == bars_.begin() ? *after : *(after - 1);
    }

    int parts_of_beat(Ticks at) const { return in_threes(bar_at(at).meter) ? 3 : 2; }

    const Division* tuplet_over(Ticks at) const
    {
        const auto found =
            std::lower_bound(tuplets_.begin(), tuplets_.end(), at, [](const Division& d, Ticks t) { return d.begin + d.length <= t; });
        return found != tuplets_.end() && found->begin < at ? &*found : nullptr;
    }

    // The nearest beat or part of one; under a tuplet the nearest of its notes.
    Ticks nearest(Ticks at, int parts) const
    {
        const Bar& bar = bar_at(at);
        const Ticks step = beat_of(bar.meter) / parts;
        const Ticks plain = std::min(bar.begin + (at - bar.begin + step / 2) / step * step, bar.end());
        const Division* tuplet = tuplet_over(plain);
        if (tuplet == nullptr) return plain;
        const Ticks unit = tuplet->length / tuplet->parts;
        return tuplet->begin + (at - tuplet->begin + unit / 2) / unit * unit;
    }

    std::span<const PlayedNote> notes_;
    std::span<const Bar> bars_;
    std::span<const Division> tuplets_;
    std::vector<Segment> out_;
};

} // namespace

std::vector<Segment> parted_at_turns(std::vector<Segment> segments, std::span<const PlayedNote> notes, std::span<const Bar> bars,
                                     std::span<const Division> tuplets)
{
    Parting parting(notes, bars, tuplets);
    for (Segment& segment : segments) parting.add(std::move(segment));
    return parting.take();
}

} // namespace bowarm::part
