#include "take/chart_scene.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace bowarm
{
namespace
{

constexpr double room_for_a_note = 15; // units of the page between the onsets of quick notes
constexpr double slowest_scale = 36, quickest_scale = 130;

void gather_notes(ChartScene& scene, const Story& story, const Recorder& take, std::size_t desk)
{
    for (const auto& [number, note] : story.notes) {
        if (note.began.desk != desk) continue;
        const Time at = note.began.at - scene.later;
        scene.notes.push_back({at, std::max(at, note.ended.value_or(take.latest()) - scene.later), &note});
    }
    std::stable_sort(scene.notes.begin(), scene.notes.end(), [](const ChartNote& a, const ChartNote& b) { return a.at < b.at; });
}

void gather_strokes(ChartScene& scene, const Story& story, const Recorder& take, std::size_t desk)
{
    for (const auto& [number, stroke] : story.strokes) {
        if (!stroke.began || stroke.began->desk != desk) continue;
        const Time at = stroke.began->at - scene.later;
        const Time end = (stroke.ended ? stroke.ended->at : take.latest()) - scene.later;
        scene.strokes.push_back({at, std::max(at, end), &*stroke.began, stroke.ended ? &*stroke.ended : nullptr});
    }
    std::stable_sort(scene.strokes.begin(), scene.strokes.end(), [](const ChartStroke& a, const ChartStroke& b) { return a.at < b.at; });
}

// So that quick passages can be read; one scale for the whole take, so that bows can be compared.
double scale_for(const std::vector<ChartNote>& notes)
{
    std::vector<double> gaps;
    for (std::size_t i = 1; i < notes.size(); ++i) {
        const double gap = to_seconds(notes[i].at - notes[i - 1].at).value;
        if (gap > 0.03) gaps.push_back(gap);
    }
    if (gaps.empty()) return slowest_scale;
    const auto quick = gaps.begin() + static_cast<std::ptrdiff_t>(gaps.size() / 5);
    std::nth_element(gaps.begin(), quick, gaps.end());
    return std::clamp(room_for_a_note / *quick, slowest_scale, quickest_scale);
}

double fastest_of(std::span<const MotionSample> motion)
{
    float fastest = 0;
    for (const MotionSample& m : motion) fastest = std::max(fastest, m.speed < 0 ? -m.speed : m.speed);
    const double tenths = std::ceil(static_cast<double>(fastest) * 10);
    return std::clamp(tenths / 10, 0.2, 5.0);
}

} // namespace

ChartScene scene_of(const ChartWish& wish, const Story& story, std::span<const Remark> remarks, std::span<const Beat> beats,
                    std::size_t desk)
{
    ChartScene scene;
    scene.later = wish.later;
    scene.beats = beats;
    scene.motion = wish.motion.of_desk(desk);
    gather_notes(scene, story, wish.take, desk);
    gather_strokes(scene, story, wish.take, desk);
    for (const Remark& remark : remarks) {
        if (remark.desk != desk) continue;
        scene.remarks.push_back(remark);
        scene.remarks.back().at = remark.at - scene.later;
    }
    scene.units_a_second = scale_for(scene.notes);
    scene.fastest = fastest_of(scene.motion);
    if (!wish.instrument.strings.empty()) scene.lowest_string = wish.instrument.strings[0].open_key.get();
    return scene;
}

namespace
{

// The latest beginning of a bar at or before t, the earliest of all times where none is.
Time bar_before(std::span<const Beat> beats, Time t)
{
    auto after = std::upper_bound(beats.begin(), beats.end(), t, [](Time time, const Beat& beat) { return time < beat.at; });
    while (after != beats.begin())
        if (--after; after->beat == 1) return after->at;
    return {std::numeric_limits<std::int64_t>::min() / 2};
}

// So that a note which comes a little before its bar stands at the beginning of the system, and not alone at the end of another.
Time before_bar(Time bar) { return bar - milliseconds(40); }

} // namespace

std::vector<Stretch> stretches_of(const ChartScene& scene, double length, Time from, Time until)
{
    std::vector<Stretch> stretches;
    const Duration system = to_duration(Seconds{length / scene.units_a_second});
    std::size_t next = 0;
    Time sounding_until{std::numeric_limits<std::int64_t>::min()};
    Time begin = from;
    while (begin < until) {
        while (next < scene.notes.size() && scene.notes[next].at <= begin)
            sounding_until = std::max(sounding_until, scene.notes[next++].end);
        const bool silent = sounding_until <= begin;
        if (silent && next == scene.notes.size()) break;
        if (silent && scene.notes[next].at - begin > system)
            begin = std::max(begin, before_bar(bar_before(scene.beats, scene.notes[next].at)));
        if (silent && scene.notes[next].at - begin > system) begin = scene.notes[next].at;
        if (begin >= until) break;
        const Time farthest = std::min(until, begin + system);
        const Time bar = bar_before(scene.beats, farthest);
        const Time cut = before_bar(bar);
        const Time end = farthest < until && cut > begin ? cut : farthest;
        stretches.push_back({begin, end});
        begin = end;
    }
    return stretches;
}

std::span<const MotionSample> motion_in(const ChartScene& scene, Stretch stretch)
{
    const auto by_time = [](const MotionSample& m, Time t) { return m.at < t; };
    const auto all = scene.motion;
    auto first = std::lower_bound(all.begin(), all.end(), stretch.begin + scene.later, by_time);
    auto last = std::lower_bound(first, all.end(), stretch.end + scene.later, by_time);
    if (first != all.begin()) --first;
    if (last != all.end()) ++last;
    return {first, last};
}

} // namespace bowarm
