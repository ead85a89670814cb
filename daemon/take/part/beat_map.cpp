#include "take/part/beat_map.hpp"

#include "phrase/beat_finder.hpp"

#include <algorithm>
#include <map>

namespace bowarm::part
{
namespace
{

constexpr BarMeter usual_meter{4, 2};
constexpr std::size_t bars_at_most = 50'000; // a file may claim a tempo that nobody plays
constexpr double a_confident_beat = 0.3;
constexpr double tempo_lasts = 4; // quarters, to be worth a mark
constexpr double same_tempo = 0.02, other_tempo = 0.04;

double quarters_of(BarMeter meter) { return 4.0 * meter.beats / static_cast<double>(1U << meter.unit); }

std::int64_t whole(double value) { return static_cast<std::int64_t>(value < 0 ? value - 0.5 : value + 0.5); }

double seconds_between(Time from, Time to) { return to_seconds(to - from).value; }

// The onsets of keys, as the beat finder wants them.
std::vector<HeardOnset> onsets_of(const Recorder& take, Duration later)
{
    std::vector<HeardOnset> onsets;
    double usual = 0;
    Time sounded_until = take.origin();
    for (const Fact& f : take.facts()) {
        if (f.kind == FactKind::note_ended) sounded_until = std::max(sounded_until, f.at - later);
        if (f.kind != FactKind::note_began) continue;
        const Time at = f.at - later;
        if (!onsets.empty() && at - onsets.back().at < milliseconds(30)) continue; // told again, or the same chord
        usual = usual > 0 ? 0.8 * usual + 0.2 * f.velocity : f.velocity;
        const Seconds gap = onsets.empty() || sounded_until >= at ? Seconds{0} : to_seconds(at - sounded_until);
        onsets.push_back({at, f.slurred, gap, usual > 0 ? f.velocity / usual : 1, f.pitch});
    }
    return onsets;
}

int beats_in_bar(const BeatPlace& place)
{
    if (place.bar <= 0 || place.to_bar <= Seconds{0} || place.beat_length <= Seconds{0}) return 0;
    return static_cast<int>(whole(place.beat - 1 + place.to_bar / place.beat_length));
}

} // namespace

BeatMap::BeatMap(const Recorder& take, const PlayerConfig& player, Duration later)
{
    const BarMeter configured{player.meter_beats, player.meter_unit};
    if (!read_tempo_map(take) && !read_places(take, configured.beats > 0 ? configured : usual_meter, later)) estimate(take, player, later);
    if (!meters_.empty() && meters_.front().quarters <= 0) return;
    meter_assumed_ = meters_.empty() && configured.beats == 0;
    meters_.insert(meters_.begin(), {0, configured.beats > 0 ? configured : usual_meter});
}

bool BeatMap::read_tempo_map(const Recorder& take)
{
    const TempoLine told(take);
    if (!told.known()) return false;
    anchors_.push_back({take.origin(), 0, told.tempos().front().seconds_a_quarter});
    anchors_.insert(anchors_.end(), told.tempos().begin(), told.tempos().end());
    for (const Input& input : take.inputs()) {
        if (input.kind != InputKind::meter || input.data[0] == 0 || input.data[1] > 7) continue;
        const double at = input.at < told.tempos().front().at ? 0 : quarters_at(input.at);
        if (!meters_.empty() && at - meters_.back().quarters < 1e-3) meters_.pop_back();
        meters_.push_back({at, {input.data[0], input.data[1]}});
    }
    return true;
}

// A clock, or taps: each note was told its bar and beat when it was heard.
bool BeatMap::read_places(const Recorder& take, BarMeter meter, Duration later)
{
    const double bar = quarters_of(meter);
    const double beat = bar / meter.beats;
    std::optional<std::int32_t> first_bar;
    for (const Fact& f : take.facts()) {
        const bool told = f.place.source == BeatSource::clock || f.place.source == BeatSource::tap;
        if (f.kind != FactKind::note_began || !told || f.place.bar <= 0) continue;
        if (!first_bar) first_bar = f.place.bar;
        const double quarters = (f.place.bar - *first_bar) * bar + (f.place.beat - 1) * beat;
        const Time at = f.at - later;
        if (anchors_.empty()) {
            anchors_.push_back({at, quarters, 0});
            continue;
        }
        const double seconds = seconds_between(anchors_.back().at, at);
        const double on = quarters - anchors_.back().quarters;
        if (seconds < 0.1 || on <= 0.05) continue;
        anchors_.back().seconds_a_quarter = seconds / on;
        anchors_.push_back({at, quarters, seconds / on});
    }
    if (anchors_.size() < 2) {
        anchors_.clear();
        return false;
    }
    beats_from_ = BeatsFrom::told;
    meters_.assign(1, {0, meter});
    return true;
}

// Beats laid through the whole take where the finder, hearing each note, places them; the bar it names most often.
void BeatMap::estimate(const Recorder& take, const PlayerConfig& player, Duration later)
{
    beats_from_ = BeatsFrom::playing;
    meters_.clear();
    const std::vector<HeardOnset> onsets = onsets_of(take, later);
    const double told = player.tempo > 0 ? 60 / player.tempo : 0;
    BeatFinder finder;
    if (told > 0) finder.tell_quarter(Seconds{told});
    if (player.meter_beats > 0) finder.tell_meter({player.meter_beats, player.meter_unit});
    std::vector<BeatPlace> places;
    std::optional<std::size_t> sure;
    for (const HeardOnset& onset : onsets) {
        finder.onset(onset);
        places.push_back(finder.place(onset.at));
        if (!sure && places.back().beat_confidence >= a_confident_beat) sure = places.size() - 1;
    }
    const double usual = told > 0 ? told : 0.5;
    if (!sure) {
        const Time first = onsets.empty() ? take.origin() : onsets.front().at;
        anchors_.push_back({first, 0, usual});
        return;
    }
    // From the first sure onset back to the first onset at an even pace, then on from note to note.
    const double first_period = places[*sure].beat_length.value;
    const double back = places[*sure].beat - static_cast<double>(static_cast<std::int64_t>(places[*sure].beat));
    double phase = back - seconds_between(onsets.front().at, onsets[*sure].at) / first_period;
    double period = first_period;
    std::vector<double> beats; // of each onset
    std::map<std::pair<int, std::int64_t>, double> votes;
    for (std::size_t i = 0; i < onsets.size(); ++i) {
        if (i > 0) phase += seconds_between(onsets[i - 1].at, onsets[i].at) / period;
        const BeatPlace& place = places[i];
        if (i >= *sure && place.beat_confidence > 0 && place.beat_length > Seconds{0}) {
            const double ratio = place.beat_length.value / first_period;
            if (ratio > 0.75 && ratio < 1.33) {
                period = place.beat_length.value;
                const double off = place.beat - phase;
                const double turn = off - static_cast<double>(whole(off));
                if (turn > -0.3 && turn < 0.3) phase += turn;
            }
            const int in_bar = beats_in_bar(place);
            if (in_bar > 1) {
                const std::int64_t line = whole(phase - (place.beat - 1));
                votes[{in_bar, ((line % in_bar) + in_bar) % in_bar}] += place.confidence;
            }
        }
        beats.push_back(phase);
    }
    int in_bar = player.meter_beats > 0 ? player.meter_beats : 4;
    std::int64_t line = 0;
    double most = 0;
    for (const auto& [bar, weight] : votes) {
        if (weight <= most || (player.meter_beats > 0 && bar.first != player.meter_beats)) continue;
        most = weight;
        in_bar = bar.first;
        line = bar.second;
    }
    const double begin = beats.front() - 0.1; // an early first note is none of the bar before
    std::int64_t origin = whole(begin - 0.5);
    origin -= (((origin - line) % in_bar) + in_bar) % in_bar;
    double before = -1;
    for (std::size_t i = 0; i < onsets.size(); ++i) {
        const double quarters = std::max(0.0, beats[i] - static_cast<double>(origin));
        if (i > 0 && (quarters - before < 0.05 || seconds_between(anchors_.back().at, onsets[i].at) < 0.05)) continue;
        if (i > 0) anchors_.back().seconds_a_quarter = seconds_between(anchors_.back().at, onsets[i].at) / (quarters - before);
        anchors_.push_back({onsets[i].at, quarters, period});
        before = quarters;
    }
    meters_.push_back({0, {static_cast<std::uint8_t>(in_bar), 2}});
}

double BeatMap::quarters_at(Time at) const { return std::max(0.0, tempo_at(anchors_, at).quarters_at(at)); }

std::vector<TempoMark> BeatMap::tempo_marks() const
{
    const auto off = [](double a, double b) { return a > b ? a / b - 1 : b / a - 1; };
    std::vector<TempoMark> marks{{0, 60 / tempo_at(anchors_, anchors_.size() > 1 ? anchors_[1].at : anchors_[0].at).seconds_a_quarter}};
    if (beats_from_ != BeatsFrom::tempo_map) return marks;
    for (std::size_t i = 1; i < anchors_.size(); ++i) {
        const double from = anchors_[i].quarters;
        double seconds = 0, quarters = 0;
        for (std::size_t n = i; n < anchors_.size() && quarters < tempo_lasts; ++n) {
            if (off(anchors_[n].seconds_a_quarter, anchors_[i].seconds_a_quarter) > same_tempo) break;
            const double until = n + 1 < anchors_.size() ? anchors_[n + 1].quarters : from + tempo_lasts;
            seconds += (until - anchors_[n].quarters) * anchors_[n].seconds_a_quarter;
            quarters = until - from;
        }
        if (quarters < tempo_lasts) continue;
        const double rate = 60 * quarters / seconds;
        if (off(rate, marks.back().quarters_a_minute) >= other_tempo) marks.push_back({from, rate});
    }
    return marks;
}

std::vector<Bar> BeatMap::bars_until(Ticks end) const
{
    std::vector<Bar> bars;
    std::size_t next = 0;
    BarMeter meter = usual_meter;
    Ticks at = 0;
    const auto begins = [&](std::size_t i) { return whole(meters_[i].quarters * static_cast<double>(ticks_a_quarter)); };
    do {
        bool changed = bars.empty();
        while (next < meters_.size() && begins(next) <= at) {
            changed = changed || !(meters_[next].meter == meter);
            meter = meters_[next++].meter;
        }
        Ticks length = std::max<Ticks>(ticks_a_quarter * 4 * meter.beats >> meter.unit, 1);
        if (next < meters_.size()) length = std::min(length, begins(next) - at);
        bars.push_back({at, length, meter, changed});
        at += length;
    } while (at < end && bars.size() < bars_at_most);
    return bars;
}

} // namespace bowarm::part
