#include "take/part/folding.hpp"

#include <algorithm>

namespace bowarm::part
{
namespace
{

constexpr Duration quick = milliseconds(170); // between two notes of a trill or a tremolo
constexpr std::size_t trill_at_least = 5;     // notes
constexpr int widest_trill = 2;               // semitones
constexpr int tremolo_strokes = 3;            // through the stem: unmeasured

class Folding
{
public:
    Folding(std::vector<Segment> segments, std::span<const PlayedNote> notes) : segments_(std::move(segments)), notes_(notes) {}

    std::vector<Segment> fold()
    {
        std::vector<Segment> out;
        for (std::size_t i = 0; i < segments_.size();) {
            const std::size_t tremolo = tremolo_from(i);
            const std::size_t trill = tremolo > i + 1 ? i : trill_from(i);
            Segment segment = segments_[i];
            const std::size_t next = std::max({i + 1, tremolo, trill});
            segment.end = std::max(segment.end, segments_[next - 1].end);
            if (segment.new_attack() && lead(i).told.technique == Technique::tremolo) segment.tremolo = tremolo_strokes;
            segment.trill = next > i + 1 && next == trill;
            if (next > i + 1) {
                segment.grace = false;
                for (Head& head : segment.heads) head.tied_on = false;
                if (segment.trill) keep_lower(segment, segments_[i + 1]);
            }
            out.push_back(std::move(segment));
            i = next;
        }
        return out;
    }

private:
    const PlayedNote& lead(std::size_t i) const { return notes_[segments_[i].lead()]; }

    bool simple(std::size_t i) const { return segments_[i].new_attack(); }

    std::size_t tremolo_from(std::size_t i) const
    {
        if (!simple(i) || lead(i).told.technique != Technique::tremolo) return i;
        std::size_t end = i + 1;
        while (end < segments_.size() && simple(end) && lead(end).told.technique == Technique::tremolo &&
               lead(end).told.pitch == lead(i).told.pitch && lead(end).at - lead(end - 1).at < quick &&
               segments_[end].heads.size() == segments_[i].heads.size())
            ++end;
        return end;
    }

    std::size_t trill_from(std::size_t i) const
    {
        std::size_t end = i + 1;
        if (!simple(i)) return i;
        const auto pitch = [&](std::size_t n) { return static_cast<int>(lead(n).told.pitch); };
        const auto one_bow = [&](std::size_t n) { return lead(n).told.slurred && lead(n).told.stroke == lead(i).told.stroke; };
        while (end < segments_.size() && simple(end) && (end >= i + trill_at_least || one_bow(end)) &&
               lead(end).at - lead(end - 1).at < quick && (end < i + 2 || pitch(end) == pitch(end - 2)))
            ++end;
        const bool near = end > i + 1 && pitch(i + 1) != pitch(i) && std::abs(pitch(i + 1) - pitch(i)) <= widest_trill;
        return near && end - i >= trill_at_least ? end : i;
    }

    // A trill is written on its lower note.
    void keep_lower(Segment& segment, const Segment& other) const
    {
        if (notes_[other.lead()].told.pitch < notes_[segment.lead()].told.pitch && notes_[segment.lead()].told.slurred)
            segment.heads = {other.heads.front()};
        segment.heads.resize(1);
        segment.heads.front() = {segment.heads.front().played, false, false};
    }

    std::vector<Segment> segments_;
    std::span<const PlayedNote> notes_;
};

} // namespace

std::vector<Segment> folded(std::vector<Segment> segments, std::span<const PlayedNote> notes)
{
    return Folding(std::move(segments), notes).fold();
}

} // namespace bowarm::part
