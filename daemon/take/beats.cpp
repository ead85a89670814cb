#include "take/beats.hpp"

#include <algorithm>
#include <optional>

namespace bowarm
{
namespace
{

constexpr std::size_t beats_at_most = 1'000'000; // twelve hours at a tempo no hand taps
constexpr std::int32_t longest_bar = 32;         // beats; what claims more is no meter

// Walks through the tempos and meters of a file.
class Conductor
{
public:
    explicit Conductor(Time end) : end_(end) {}

    void tempo(Time at, std::int64_t microseconds_per_quarter)
    {
        beat_until(at);
        if (microseconds_per_quarter <= 0) return;
        // What has passed of the beat has passed of it at any tempo.
        const double passed = beat_length() > 0 ? static_cast<double>((at - last_).ns) / beat_length() : 0;
        quarter_ns_ = microseconds_per_quarter * 1000;
        last_ = at - Duration{static_cast<std::int64_t>(passed * beat_length())};
    }

    void meter(Time at, std::uint8_t beats, std::uint8_t unit)
    {
        beat_until(at);
        if (beats == 0 || unit > 7) return;
        beats_ = beats;
        unit_ = unit;
        ++bar_;
        while (!found_.empty() && found_.back().at >= at) found_.pop_back();
        if (!found_.empty()) bar_ = found_.back().bar + 1;
        add(at, 1);
    }

    std::vector<Beat> finish()
    {
        beat_until(end_);
        return std::move(found_);
    }

private:
    double beat_length() const { return static_cast<double>(quarter_ns_) * 4 / static_cast<double>(1 << unit_); }

    void add(Time at, std::int32_t beat)
    {
        found_.push_back({at, bar_, beat});
        last_ = at;
    }

    void beat_until(Time at)
    {
        if (beats_ == 0 || quarter_ns_ == 0) return;
        const Duration step{static_cast<std::int64_t>(beat_length())};
        constexpr Duration rounding = milliseconds(1); // of ticks
        while (last_ + step <= at + rounding && found_.size() < beats_at_most) {
            const bool full = found_.empty() || found_.back().beat >= beats_;
            if (full) ++bar_;
            add(last_ + step, full ? 1 : found_.back().beat + 1);
        }
    }

    Time end_;
    Time last_;
    std::int64_t quarter_ns_{0};
    std::uint8_t beats_{0}, unit_{2};
    std::int32_t bar_{0};
    std::vector<Beat> found_;
};

std::vector<Beat> conducted_by_file(const Recorder& take)
{
    Conductor conductor(take.latest());
    for (const Input& input : take.inputs()) {
        if (input.kind == InputKind::tempo) conductor.tempo(input.at, microseconds_a_quarter(input));
        if (input.kind == InputKind::meter) conductor.meter(input.at, input.data[0], input.data[1]);
    }
    return conductor.finish();
}

// A place told with a note, as beats since the first bar.
struct Anchor {
    Time at;
    double beats;
};

std::int32_t beats_in_bar(const Recorder& take)
{
    std::int32_t most = 1;
    for (const Fact& fact : take.facts())
        if (fact.place.bar > 0 && fact.place.beat < longest_bar + 1) most = std::max(most, static_cast<std::int32_t>(fact.place.beat));
    return most;
}

std::vector<Anchor> anchors_of(const Recorder& take, Duration later, std::int32_t bar_beats)
{
    std::vector<Anchor> anchors;
    for (const Fact& fact : take.facts()) {
        if (fact.kind != FactKind::note_began || fact.place.bar <= 0) continue;
        const double beats = (fact.place.bar - 1.0) * bar_beats + fact.place.beat - 1;
        const bool later_place = anchors.empty() || (beats > anchors.back().beats && fact.at - later > anchors.back().at);
        if (later_place) anchors.push_back({fact.at - later, beats});
    }
    return anchors;
}

// Where a count begins anew far ahead nothing is known of the beats between.
constexpr double gap_at_most = 64;

std::vector<Beat> laid_between_notes(const Recorder& take, Duration later)
{
    const std::int32_t bar_beats = beats_in_bar(take);
    const auto anchors = anchors_of(take, later, bar_beats);
    std::vector<Beat> found;
    for (std::size_t i = 0; i + 1 < anchors.size(); ++i) {
        const Anchor& a = anchors[i];
        const Anchor& b = anchors[i + 1];
        if (b.beats - a.beats > gap_at_most) continue;
        auto whole = static_cast<std::int64_t>(a.beats);
        if (static_cast<double>(whole) < a.beats) ++whole;
        for (; static_cast<double>(whole) < b.beats && found.size() < beats_at_most; ++whole) {
            const double part = (static_cast<double>(whole) - a.beats) / (b.beats - a.beats);
            const Time at = a.at + Duration{static_cast<std::int64_t>(part * static_cast<double>((b.at - a.at).ns))};
            found.push_back({at, static_cast<std::int32_t>(whole / bar_beats) + 1, static_cast<std::int32_t>(whole % bar_beats) + 1});
        }
    }
    return found;
}

} // namespace

std::vector<Beat> beats_of(const Recorder& take, Duration later)
{
    const bool by_file = std::any_of(take.facts().begin(), take.facts().end(),
                                     [](const Fact& fact) { return fact.place.bar > 0 && fact.place.source == BeatSource::file; });
    return by_file ? conducted_by_file(take) : laid_between_notes(take, later);
}

} // namespace bowarm
