#include "take/part/written_bar.hpp"

#include <algorithm>

namespace bowarm::part
{
namespace
{

constexpr int power_of_eighth = 3;

bool is_plain_eighth(const Written& w)
{
    return w.grace || (w.segment && w.value.power == power_of_eighth && w.value.dots == 0 && w.value.actual == 0);
}

int beams_of(const Written& w) { return w.segment && !w.grace ? std::max(0, w.value.power - power_of_eighth + 1) : 0; }

// Eighths alone in a half bar go under one beam.
bool eighths_alone(const std::vector<Written>& all, const Bar& bar, Ticks at)
{
    const Ticks half = 2 * ticks_a_quarter;
    const Ticks begin = bar.begin + (at - bar.begin) / half * half;
    return std::all_of(all.begin(), all.end(), [&](const Written& w) {
        const bool inside = w.value.begin + w.value.length > begin && w.value.begin < begin + half;
        return !inside || is_plain_eighth(w);
    });
}

std::string_view beam_word(bool before, bool after, bool group_before)
{
    if (before && after) return "continue";
    if (before) return "end";
    if (after) return "begin";
    return group_before ? "backward hook" : "forward hook";
}

void beam_run(std::span<Written*> run)
{
    if (run.size() < 2) return;
    for (std::size_t i = 0; i < run.size(); ++i) {
        const int own = beams_of(*run[i]);
        const int before = i > 0 ? beams_of(*run[i - 1]) : 0;
        const int after = i + 1 < run.size() ? beams_of(*run[i + 1]) : 0;
        for (int level = 1; level <= own; ++level) run[i]->beams.push_back(beam_word(before >= level, after >= level, i > 0));
    }
}

void put_beams(std::vector<Written>& all, const Bar& bar)
{
    std::vector<Written*> run;
    std::optional<Ticks> group;
    for (Written& w : all) {
        if (w.grace) continue;
        const Ticks now = beam_group(w.value.begin, bar, eighths_alone(all, bar, w.value.begin));
        if (beams_of(w) == 0 || (group && now != *group)) {
            beam_run(run);
            run.clear();
        }
        group = now;
        if (beams_of(w) > 0) run.push_back(&w);
    }
    beam_run(run);
}

} // namespace

void BarFiller::put(WrittenBar& out, Ticks from, Ticks to, const Bar& bar, std::optional<std::size_t> segment)
{
    if (to <= from) return;
    const std::vector<NoteValue> values = values_of(from, to, bar, tuplets_, !segment);
    for (const NoteValue& value : values) {
        Written w{value, segment, true, true, false, {}};
        if (segment) {
            w.first = value.begin == segments_[*segment].begin;
            w.last = value.begin + value.length == segments_[*segment].end;
        }
        out.written.push_back(std::move(w));
    }
}

WrittenBar BarFiller::fill(const Bar& bar)
{
    WrittenBar out;
    Ticks at = bar.begin;
    while (next_ < segments_.size() && segments_[next_].begin < bar.end()) {
        const Segment& segment = segments_[next_];
        if (segment.grace) {
            NoteValue value;
            value.begin = segment.begin;
            value.power = power_of_eighth;
            put(out, at, segment.begin, bar, std::nullopt);
            at = std::max(at, segment.begin);
            out.written.push_back({value, next_, true, true, true, {}});
            ++next_;
            continue;
        }
        const Ticks from = std::max(segment.begin, bar.begin);
        const Ticks to = std::min(segment.end, bar.end());
        put(out, at, from, bar, std::nullopt);
        put(out, std::max(from, at), to, bar, next_);
        at = std::max(at, to);
        if (segment.end > bar.end()) break;
        ++next_;
    }
    if (out.written.empty()) return out;
    put(out, at, bar.end(), bar, std::nullopt);
    put_beams(out.written, bar);
    return out;
}

} // namespace bowarm::part
