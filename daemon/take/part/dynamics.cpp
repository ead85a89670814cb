#include "take/part/dynamics.hpp"

#include <algorithm>
#include <array>

namespace bowarm::part
{
namespace
{

constexpr int levels = 6;
constexpr double turns_by = 0.14;        // a leg ends when the loudness has come back by so much
constexpr double hairpin_at_least = 0.2; // from its beginning to its end
constexpr Ticks shortest_hairpin = ticks_a_quarter;
constexpr Ticks longest_hairpin = 16 * ticks_a_quarter;
constexpr double jump = 0.6;                // of the whole way in one sample: no hairpin
constexpr double next_level = 0.8 / levels; // off the middle of what stands, for a new mark

struct Sample {
    Ticks at;
    double loudness;
    bool attack;
};

int level_of(double loudness) { return std::clamp(static_cast<int>(loudness * levels), 0, levels - 1); }
double middle_of(int level) { return (level + 0.5) / levels; }

struct Point {
    double quarters;
    double loudness;
};

std::vector<Point> controller_points(const Recorder& take, const PersonControl& control, const BeatMap& beats)
{
    std::vector<Point> points;
    const double from = control.from.get();
    const double range = control.to.get() - from;
    for (const Input& input : take.inputs()) {
        if (input.kind != InputKind::midi || range == 0) continue;
        const unsigned status = input.data[0] & 0xF0U;
        const bool controller = control.kind == PersonController::control_change && status == 0xB0 && input.data[1] == control.number.get();
        const bool pressure = control.kind == PersonController::channel_pressure && status == 0xD0;
        if (!controller && !pressure) continue;
        const double value = controller ? input.data[2] : input.data[1];
        points.push_back({beats.quarters_at(input.at), std::clamp((value - from) / range, 0.0, 1.0)});
    }
    return points;
}

// Where the controller stands at each attack, and at each quarter of a long note.
std::vector<Sample> controller_samples(const std::vector<Point>& points, std::span<const Segment> segments)
{
    std::vector<Sample> samples;
    std::size_t next = 0;
    double now = points.front().loudness;
    for (const Segment& segment : segments) {
        for (Ticks at = segment.begin; at < std::max(segment.end, segment.begin + 1); at += ticks_a_quarter / 2) {
            const double quarters = static_cast<double>(at) / static_cast<double>(ticks_a_quarter) + 0.06;
            while (next < points.size() && points[next].quarters <= quarters) now = points[next++].loudness;
            samples.push_back({at, now, at == segment.begin && segment.new_attack()});
        }
    }
    return samples;
}

// The middle of five neighbours, so that one hard key is an accent and no forte.
std::vector<Sample> velocity_samples(std::span<const Segment> segments, std::span<const PlayedNote> notes)
{
    std::vector<Sample> raw;
    for (const Segment& segment : segments)
        if (segment.new_attack() && !segment.grace) raw.push_back({segment.begin, notes[segment.lead()].told.velocity / 127.0, true});
    std::vector<Sample> samples = raw;
    for (std::size_t i = 0; i < raw.size(); ++i) {
        std::vector<double> near;
        for (std::size_t n = i < 2 ? 0 : i - 2; n < std::min(raw.size(), i + 3); ++n) near.push_back(raw[n].loudness);
        std::sort(near.begin(), near.end());
        samples[i].loudness = near[near.size() / 2];
    }
    return samples;
}

class Shaping
{
public:
    explicit Shaping(const std::vector<Sample>& samples) : samples_(samples) {}

    std::vector<Dynamic> marks()
    {
        if (samples_.empty()) return {};
        std::size_t from = 0;
        for (const std::size_t to : turns()) {
            write_leg(from, to);
            from = to;
        }
        return std::move(marks_);
    }

private:
    double value(std::size_t i) const { return samples_[i].loudness; }

    // The last sample of every stretch that rises or falls as a whole.
    std::vector<std::size_t> turns() const
    {
        std::vector<std::size_t> ends;
        std::size_t highest = 0, lowest = 0;
        int going = 0;
        for (std::size_t i = 1; i < samples_.size(); ++i) {
            if (value(i) > value(highest)) highest = i;
            if (value(i) < value(lowest)) lowest = i;
            if (going >= 0 && value(highest) - value(i) > turns_by) {
                if (highest > 0) ends.push_back(highest);
                going = -1;
                lowest = i;
            } else if (going <= 0 && value(i) - value(lowest) > turns_by) {
                if (lowest > 0) ends.push_back(lowest);
                going = 1;
                highest = i;
            }
            if (going > 0 && value(i) >= value(highest)) highest = i;
            if (going < 0 && value(i) <= value(lowest)) lowest = i;
        }
        ends.push_back(samples_.size() - 1);
        return ends;
    }

    void write_leg(std::size_t from, std::size_t to)
    {
        const double way = value(to) - value(from);
        const double size = way < 0 ? -way : way;
        // Where it leaves the beginning, and where it has arrived.
        std::size_t begin = from, end = to;
        while (begin < to && distance(begin + 1, from) < 0.12 * size) ++begin;
        while (end > begin && distance(end - 1, to) < 0.12 * size) --end;
        double steepest = 0;
        for (std::size_t i = begin + 1; i <= end; ++i) steepest = std::max(steepest, distance(i, i - 1));
        const Ticks length = samples_[end].at - samples_[begin].at;
        const bool gradual = size >= hairpin_at_least && steepest <= jump * size && length >= shortest_hairpin &&
                             length <= longest_hairpin && level_of(value(from)) != level_of(value(to));
        if (!gradual) {
            write_levels(from, to);
            return;
        }
        write_levels(from, begin);
        marks_.push_back({samples_[begin].at, way > 0 ? DynamicKind::crescendo : DynamicKind::diminuendo, 0});
        marks_.push_back({samples_[end].at, DynamicKind::hairpin_ends, 0});
        standing_ = level_of(value(to));
        marks_.push_back({samples_[end].at, DynamicKind::level, standing_});
    }

    void write_levels(std::size_t from, std::size_t to)
    {
        for (std::size_t i = from; i <= to; ++i) {
            const double off = standing_ < 0 ? 1 : value(i) - middle_of(standing_);
            if (!samples_[i].attack || (off <= next_level && off >= -next_level)) continue;
            standing_ = level_of(value(i));
            marks_.push_back({samples_[i].at, DynamicKind::level, standing_});
        }
    }

    double distance(std::size_t a, std::size_t b) const
    {
        const double d = value(a) - value(b);
        return d < 0 ? -d : d;
    }

    const std::vector<Sample>& samples_;
    std::vector<Dynamic> marks_;
    int standing_{-1};
};

} // namespace

std::string_view dynamic_word(int level)
{
    constexpr std::array<std::string_view, levels> words{"pp", "p", "mp", "mf", "f", "ff"};
    return words[static_cast<std::size_t>(std::clamp(level, 0, levels - 1))];
}

std::vector<Dynamic> dynamics_of(const Recorder& take, const Controls& controls, const BeatMap& beats, std::span<const Segment> segments,
                                 std::span<const PlayedNote> notes)
{
    const std::vector<Point> points = controller_points(take, controls.loudness, beats);
    const std::vector<Sample> samples = points.empty() ? velocity_samples(segments, notes) : controller_samples(points, segments);
    return Shaping(samples).marks();
}

} // namespace bowarm::part
