#include "phrase/beat_finder.hpp"

#include "base/arithmetic.hpp"

#include <iterator>

namespace bowarm
{
namespace
{

// Beats that people tap along to last from about a third of a second to one and a quarter, most often 0.6 s
// (P. Fraisse, "Rhythm and tempo", in The Psychology of Music, 1982; from memory).
constexpr double shortest_period = 0.3;
constexpr double longest_period = 1.25;
constexpr double usual_period = 0.6;
constexpr double period_spread = 0.35; // octaves
constexpr double told_spread = 0.06;   // a told tempo is kept as nearly as this, share
constexpr double untold = -6;          // bits against a beat that is no simple part of the told tempo

constexpr Seconds break_at_least{5}; // what was heard before says nothing any more

// How exactly hands place notes: seconds, and a share of the beat.
constexpr double hand = 0.017;
constexpr double hand_share = 0.035;
constexpr double reach = 3.5;                                                  // such widths from a place, a note no longer moves the grid
constexpr double part_trust = 0.25;                                            // thirds and quarters are easily taken for one another
constexpr double quarter_from = 0.16, third_from = 7.0 / 24, half_from = 0.41; // beats from the nearest one
// Of two grids of one tempo, one keeps it and one gives way to the player's: shares of what a note is late, for a beat's time.
constexpr double keeps_phase = 0.5;
constexpr double keeps_period = 0.035;
constexpr double yields_phase = 0.6;
constexpr double yields_period = 0.55;
constexpr double hurried = 0.63; // share of that where notes follow each other at once

// The shares and scales of evidence are our own, found by trying: DEVELOPERS.md says how right the stated confidence is.
constexpr double fit_memory = 0.972; // of the evidence for a grid, an onset later
constexpr double bar_memory = 0.986; // of the evidence for bars, a beat later
constexpr double fit_trust = 0.21;   // onsets repeat each other: not every bit of them is news
constexpr double bar_trust = 0.5;
constexpr double mark_trust = 1.2;      // of what speaks for a beat besides length
constexpr double onsets_to_be_sure = 5; // before so many more than one, confidence is held down
constexpr double surest = 0.92;         // of a beat that no other grid disputes: so often it is right
constexpr double surest_bar = 0.93;     // likewise of a bar on such beats
constexpr double keep = 2;              // bits by which another grid has to be better before the beat jumps

// Places within a beat, and how often notes of a length begin there: log2 of the shares counted over 24,543 notes of violin,
// viola, cello and bass parts, each part weighing the same.  The last column is everywhere else.
constexpr double places[] = {0, 0.5, -0.5, 0.25, -0.25, 1.0 / 3, -1.0 / 3};
constexpr std::size_t place_count = std::size(places);
constexpr std::size_t elsewhere = place_count;
constexpr double length_edges[] = {0.18, 0.29, 0.40, 0.62, 0.87, 1.25, 1.75, 2.5}; // in beats
constexpr std::size_t length_count = std::size(length_edges) + 1;
constexpr double place_bits[length_count][place_count + 1] = {
    {-3.0, -3.2, -3.2, -3.1, -3.1, -4.2, -4.0, -1.1}, // shorter
    {-2.2, -1.8, -1.8, -2.1, -1.8, -6.0, -6.0, -6.0}, // a quarter of a beat
    {-1.7, -4.6, -4.6, -5.6, -5.3, -1.6, -1.6, -6.0}, // a third
    {-0.9, -1.1, -1.1, -6.0, -5.3, -6.5, -6.5, -6.5}, // a half
    {-0.2, -3.2, -3.2, -5.1, -5.3, -6.3, -6.1, -6.5}, // two thirds, three quarters
    {-0.1, -4.8, -4.8, -6.5, -6.3, -6.6, -6.6, -6.6}, // a beat
    {-0.2, -2.9, -2.9, -5.6, -5.8, -6.3, -6.2, -6.5}, // one and a half
    {-0.1, -6.0, -6.0, -6.5, -6.3, -6.6, -6.6, -6.6}, // two
    {-0.1, -5.3, -5.3, -6.3, -6.5, -6.6, -6.6, -6.5}, // longer
};
// How often a note has that length at all, where it is not as long as the one before; log2 of the share for its octave.
constexpr double length_bits[length_count] = {-2.4, -1.2, -2.0, -1.6, -4.2, -1.6, -4.5, -2.7, -4.5};

// What speaks for a beat being the first of its bar, or the middle of an even one, rather than another: bits, counted as above.
struct BarBits {
    double first, middle;
};
constexpr BarBits slurred_into{-2.7, -0.5}, begins_alone{0.25, 0.25}, begins_slur{1.8, 0.6};
constexpr BarBits silence_before{1.5, -1.3};
constexpr BarBits much_longer{1.5, 1.6}, as_long{-0.6, -0.25}, shorter{0.25, -1.25}; // than the note before
constexpr BarBits two_beats_long{2.4, 3.0};
constexpr BarBits accented{0.5, 0.5};
constexpr BarBits two_notes{0.4, 0.6}, more_notes{0.9, 0.9};
constexpr BarBits leaps{0.6, 0.2};
constexpr BarBits sounds{0.36, 0.16}, passes{-2.15, -0.6}; // a note begins on it; none does
// And for a note's being on a beat at all rather than between two.
constexpr double beat_slurred_into = -0.8, beat_begins_slur = 1.8, beat_silence_before = 2.2, beat_accented = 0.6, beat_chord = 0.7,
                 beat_leaps = 0.5;
constexpr double accent_from = 1.12;
constexpr int leap_from = 5;      // semitones
constexpr double rest_from = 0.4; // beats
constexpr std::int64_t passed_at_most = 6;

constexpr double four_for_two = 0.75; // half of what would be first beats then are not told
constexpr std::size_t begun = 16;     // onsets: until then more periods are tried at each
constexpr double ruled_out = 1000;
constexpr double meter_prior[] = {0.0, 0.3, -0.3}; // bits for 2, 3, 4 beats in a bar
constexpr std::size_t hypotheses_before[] = {0, 2, 5};

std::size_t length_of(double beats)
{
    std::size_t i = 0;
    while (i + 1 < length_count && beats >= length_edges[i]) ++i;
    return i;
}

struct Placed {
    std::int64_t beat{0}; // the nearest one, counted from the grid's
    std::size_t place{0};
    double error{0}; // seconds late
};

Placed place_on(double period, double seconds)
{
    Placed p;
    const double beats = seconds / period;
    p.beat = nearest(beats);
    const double part = beats - static_cast<double>(p.beat);
    const bool before = part < 0;
    const double size = before ? -part : part;
    std::size_t i = 0;
    if (size > half_from)
        i = 1;
    else if (size > third_from)
        i = 5;
    else if (size > quarter_from)
        i = 3;
    if (i > 0 && before) ++i;
    p.place = i;
    p.error = (part - places[i]) * period;
    return p;
}

double width_of(double period) { return hand + hand_share * period; }

BarBits plus(BarBits a, BarBits b) { return {a.first + b.first, a.middle + b.middle}; }

std::int64_t below(std::int64_t index, std::int64_t beats) { return (index % beats + beats) % beats; }

void count_for_bars(std::array<double, 9>& bars, std::int64_t index, BarBits bits)
{
    for (double& b : bars) b *= bar_memory;
    bars[static_cast<std::size_t>(below(index, 2))] += bits.first;
    bars[hypotheses_before[1] + static_cast<std::size_t>(below(index, 3))] += bits.first;
    bars[hypotheses_before[2] + static_cast<std::size_t>(below(index, 4))] += bits.first;
    bars[hypotheses_before[2] + static_cast<std::size_t>(below(index + 2, 4))] += bits.middle;
}

} // namespace

void BeatFinder::forget() noexcept
{
    count_ = 0;
    grids_.clear();
    best_ = 0;
    bar_ = {};
    beat_confidence_ = 0;
}

void BeatFinder::onset(const HeardOnset& heard) noexcept
{
    if (count_ > 0 && to_seconds(heard.at - newest().heard.at) > break_at_least) forget();
    if (count_ > 0) close(newest(), heard);
    newest_ = (newest_ + 1) % memory;
    newest() = {};
    newest().heard = heard;
    if (count_ > 0) newest().leap = heard.key > past(1).heard.key ? heard.key - past(1).heard.key : past(1).heard.key - heard.key;
    if (count_ == 0) first_ = heard.at;
    if (count_ < memory) ++count_;
    for (Grid& g : grids_) settle(g, newest());
    ++heard_;
    // A beat that is sure needs no rival at every note.
    const bool sure = count_ > begun && beat_confidence_ > 0.9;
    if (!sure || heard_ % 4 == 0) look_for_grids();
    choose();
}

void BeatFinder::joined(double accent) noexcept
{
    if (count_ == 0) return;
    ++newest().notes;
    if (accent > newest().heard.accent) newest().heard.accent = accent;
}

void BeatFinder::was_separate() noexcept
{
    if (count_ > 0) newest().heard.slurred = false;
}

// The next onset tells how long this one was: now it can be weighed.
void BeatFinder::close(Onset& onset, const HeardOnset& next) noexcept
{
    onset.interval = to_seconds(next.at - onset.heard.at);
    onset.starts_slur = next.slurred && !onset.heard.slurred;
    if (count_ > 1 && past(1).interval > Seconds{0}) onset.ratio = onset.interval / past(1).interval;
    for (Grid& g : grids_) weigh(g, onset, next.at);
}

// Moves the grid towards an onset that fits it.
void BeatFinder::settle(Grid& g, const Onset& onset) noexcept
{
    const double seconds = to_seconds(onset.heard.at - g.beat).value;
    const Placed p = place_on(g.period, seconds);
    const double width = width_of(g.period);
    const double late = p.error < 0 ? -p.error : p.error;
    g.index += p.beat;
    double move = static_cast<double>(p.beat) * g.period;
    g.placed_well = late < reach * width;
    g.place = static_cast<std::uint8_t>(g.placed_well ? p.place : elsewhere);
    g.error = p.error;
    if (g.placed_well) {
        // Backwards in the search, a note that is late there asks for a longer beat as well.
        const double passed = to_seconds(onset.heard.at - g.settled).value / g.period;
        const double beats = passed > 1 ? 1 : passed < -1 ? -1 : passed;
        const double share = beats < 0 ? -beats : beats;
        const double sure = p.place < 3 ? 1 : part_trust;
        move += sure * (g.yields ? yields_phase : keeps_phase) * between(hurried, 1, share) * p.error;
        g.period += sure * (g.yields ? yields_period : keeps_period) * beats * p.error;
        g.settled = onset.heard.at;
    }
    g.beat = g.beat + to_duration(Seconds{move});
}

double BeatFinder::beat_marks(const Onset& o, double period) noexcept
{
    double bits = o.heard.slurred ? beat_slurred_into : o.starts_slur ? beat_begins_slur : 0;
    if (o.heard.gap.value > rest_from * period) bits += beat_silence_before;
    if (o.heard.accent >= accent_from) bits += beat_accented;
    if (o.notes > 1) bits += beat_chord;
    if (o.leap >= leap_from) bits += beat_leaps;
    return bits;
}

// What an onset of known length says for the grid and its bars.
void BeatFinder::weigh(Grid& g, const Onset& o, Time next) noexcept
{
    const double beats = o.interval.value / g.period;
    const std::size_t length = length_of(beats);
    const double width = width_of(g.period) / g.period;
    const double off = g.error / g.period / width;
    double bits = place_bits[length][elsewhere];
    if (g.placed_well) {
        const double near = place_bits[length][g.place] - 0.7213 * off * off - log_of_two(width * 2.5066);
        if (near > bits) bits = near;
    }
    const bool new_length = o.ratio < 0.75 || o.ratio > 1.33;
    if (new_length) bits += length_bits[length];
    const bool on_beat = g.placed_well && g.place == 0;
    if (on_beat) bits += mark_trust * beat_marks(o, g.period);
    g.fit = g.fit * fit_memory + bits;

    if (on_beat) {
        BarBits b = sounds;
        b = plus(b, o.heard.slurred ? slurred_into : (o.starts_slur ? begins_slur : begins_alone));
        if (o.heard.gap.value > rest_from * g.period) b = plus(b, silence_before);
        if (beats >= 1.4)
            b = plus(b, two_beats_long);
        else
            b = plus(b, o.ratio > 1.4 ? much_longer : o.ratio < 0.7 ? shorter : as_long);
        if (o.heard.accent >= accent_from) b = plus(b, accented);
        if (o.notes > 1) b = plus(b, o.notes == 2 ? two_notes : more_notes);
        if (o.leap >= leap_from) b = plus(b, leaps);
        count_for_bars(g.bars, g.index, b);
    }
    // Beats on which nothing begins.
    const double to_next = to_seconds(next - g.beat).value / g.period;
    const std::int64_t last = nearest(to_next);
    const bool on_last = to_next - static_cast<double>(last) < 0.2 && to_next - static_cast<double>(last) > -0.2;
    const std::int64_t end = on_last ? last : static_cast<std::int64_t>(to_next) + 1;
    const bool ahead_of_its_beat = g.place == 2 || g.place == 4 || g.place == 6;
    const std::int64_t begin = ahead_of_its_beat ? 0 : 1;
    for (std::int64_t k = begin; k < end && k < begin + passed_at_most; ++k) count_for_bars(g.bars, g.index + k, passes);
}

// A few of the intervals just heard, and their simple parts and multiples, are tried as beats.
void BeatFinder::look_for_grids() noexcept
{
    constexpr double parts[] = {1, 2, 0.5, 4, 1.5, 3, 0.25, 2.0 / 3, 1.0 / 3};
    constexpr std::size_t spans = 8;
    constexpr std::size_t turns = spans * std::size(parts);
    const std::size_t tries = count_ < begun ? 6 : 1;
    std::size_t tried = 0;
    if (const double told = told_beat(); told > 0) {
        constexpr double told_parts[] = {1, 1.5, 0.5, 2, 0.75, 3};
        try_grid(told * told_parts[turn_ % std::size(told_parts)]);
        if (count_ < begun) try_grid(told);
    }
    for (std::size_t i = 0; i < turns && tried < tries; ++i) {
        turn_ = (turn_ + 1) % turns;
        const std::size_t span = 1 + turn_ % spans;
        if (span >= count_) continue;
        const double period = to_seconds(past(0).heard.at - past(span).heard.at).value * parts[turn_ / spans];
        if (period < shortest_period || period > longest_period) continue;
        try_grid(period);
        ++tried;
    }
}

// Back through the memory to find where its beats were, and forward again to weigh it.
void BeatFinder::try_grid(double period) noexcept
{
    if (period < shortest_period || period > longest_period) return;
    Grid g;
    g.period = period;
    g.yields = heard_ / 4 % 2 == 1;
    g.beat = g.settled = past(0).heard.at;
    for (std::size_t back = 1; back < count_; ++back) {
        settle(g, past(back));
        if (g.period < shortest_period || g.period > longest_period) return;
    }
    g.index = nearest(to_seconds(g.beat - first_).value / g.period);
    // Most turn out to be one that runs already; only others are worth weighing.
    Grid forward = g;
    for (std::size_t back = count_; back-- > 0;) settle(forward, past(back));
    if (runs_already(forward)) return;
    for (std::size_t back = count_; back-- > 0;) {
        settle(g, past(back));
        if (back > 0) weigh(g, past(back), past(back - 1).heard.at);
    }
    add(g);
}

bool BeatFinder::runs_already(const Grid& g) const noexcept
{
    for (const Grid& other : grids_) {
        if (g.yields != other.yields) continue;
        const double tempo = g.period / other.period;
        if (tempo > 1.04 || tempo < 0.96) continue;
        const double apart = to_seconds(g.beat - other.beat).value / g.period;
        const double part = apart - static_cast<double>(nearest(apart));
        if (part > 0.12 || part < -0.12) continue;
        return true;
    }
    return false;
}

// In the place of the worst but the best, where there is no other.
void BeatFinder::add(const Grid& g) noexcept
{
    if (grids_.push_back(g)) return;
    std::size_t worst = best_ == 0 ? 1 : 0;
    double least = score(grids_[worst]);
    for (std::size_t i = 0; i < grids_.size(); ++i) {
        const double bits = score(grids_[i]);
        if (i == best_ || !(bits < least)) continue;
        least = bits;
        worst = i;
    }
    if (score(g) > least) grids_[worst] = g;
}

// Seconds of the beat that the told tempo and meter amount to; 0: nobody told.
double BeatFinder::told_beat() const noexcept
{
    if (meter_.beats == 0) return quarter_.value;
    const bool threes = conducted(meter_).beats != meter_.beats;
    return quarter_.value * quarters_of_beat(meter_) * (threes ? 3 : 1);
}

double BeatFinder::prior(double period) const noexcept
{
    const double octaves = log_of_two(period / usual_period) / period_spread;
    const double usual = -0.7213 * octaves * octaves;
    const double told = told_beat();
    if (!(told > 0)) return usual;
    constexpr struct {
        double part, bits;
    } told_parts[] = {{1, 0}, {1.5, -2}, {0.5, -3}, {2, -3}};
    for (const auto& t : told_parts) {
        const double ratio = period / (told * t.part);
        if (ratio < 1 + told_spread && ratio > 1 - told_spread) return 0.5 * usual + t.bits;
    }
    return usual + untold;
}

double BeatFinder::score(const Grid& g) const noexcept { return fit_trust * g.fit + prior(g.period); }

void BeatFinder::choose() noexcept
{
    if (grids_.empty()) return;
    for (std::size_t i = grids_.size(); i > 0; --i) {
        const double period = grids_[i - 1].period;
        if (period >= shortest_period * 0.9 && period <= longest_period * 1.1) continue;
        grids_.erase_at(i - 1);
        if (best_ >= i && best_ > 0) --best_;
    }
    if (grids_.empty()) return;
    if (best_ >= grids_.size()) best_ = 0;
    std::size_t top = 0;
    double most = score(grids_[0]);
    for (std::size_t i = 1; i < grids_.size(); ++i) {
        const double bits = score(grids_[i]);
        if (!(bits > most)) continue;
        most = bits;
        top = i;
    }
    if (most > score(grids_[best_]) + fit_trust * keep) best_ = top;
    beat_confidence_ = agreement();
    bar_ = bar_of(grids_[best_]);
}

// The share of all evidence that stands behind the beats of the best grid: its own, and of those that part or join them.
double BeatFinder::agreement() const noexcept
{
    const Grid& best = grids_[best_];
    const double of_best = score(best);
    double all = 0;
    double same = 0;
    for (const Grid& g : grids_) {
        const double bits = score(g) - of_best;
        const double weight = power_of_two(bits < -40 ? -40 : bits > 40 ? 40 : bits);
        all += weight;
        const double slow = g.period > best.period ? g.period : best.period;
        const double quick = g.period > best.period ? best.period : g.period;
        const double times = slow / quick;
        const bool simple = times < 1.07 || (times > 1.87 && times < 2.13);
        const double apart = to_seconds(g.beat - best.beat).value / quick;
        const double part = apart - static_cast<double>(nearest(apart));
        if (simple && part < 0.15 && part > -0.15) same += weight;
    }
    return same / all;
}

// The bars whose lines are the likeliest to be bar lines: those of a meter of four are right, too, where it is one of two.
BeatFinder::Bar BeatFinder::bar_of(const Grid& g) const noexcept
{
    const std::uint8_t told = conducted(meter_).beats;
    const auto index = [](std::int64_t beats, std::int64_t first) {
        return hypotheses_before[beats - 2] + static_cast<std::size_t>(below(first, beats));
    };
    std::array<double, bar_hypotheses> weights{};
    double most = -1e9;
    for (std::int64_t beats = 2; beats <= 4; ++beats) {
        const bool against = told >= 2 && told <= 4 && told != beats;
        const double prior = meter_prior[beats - 2] - log_of_two(static_cast<double>(beats)) - (against ? ruled_out : 0);
        for (std::int64_t first = 0; first < beats; ++first) {
            double& bits = weights[index(beats, first)];
            bits = bar_trust * g.bars[index(beats, first)] + prior;
            if (bits > most) most = bits;
        }
    }
    double all = 0;
    for (double& w : weights) {
        w = power_of_two(w - most < -40 ? -40 : w - most);
        all += w;
    }
    Bar bar;
    for (std::int64_t beats = 2; beats <= 4; ++beats) {
        if (told >= 2 && told <= 4 && told != beats) continue;
        for (std::int64_t first = 0; first < beats; ++first) {
            double right = weights[index(beats, first)];
            // A meter of four is right, too, where it is one of two; one of two is half right where it is one of four.
            if (beats == 4) right += four_for_two * weights[index(2, first)];
            if (beats == 2) right += 0.5 * (weights[index(4, first)] + weights[index(4, first + 2)]);
            if (right / all > bar.confidence) bar = {static_cast<std::uint8_t>(beats), first, right / all};
        }
    }
    return bar;
}

// Rises over the first onsets and falls when nothing more is heard.
double BeatFinder::known_for(Time at) const noexcept
{
    const double heard = (static_cast<double>(count_) - 1) / onsets_to_be_sure;
    const double silent = to_seconds(at - past(0).heard.at) / break_at_least;
    const double fresh = silent < 0.5 ? 1 : silent > 1 ? 0 : 2 * (1 - silent);
    return (heard < 1 ? heard : 1) * fresh;
}

BeatPlace BeatFinder::place(Time at) const noexcept
{
    BeatPlace p;
    if (grids_.empty()) return p;
    const Grid& g = grids_[best_];
    const double since = to_seconds(at - g.beat).value / g.period;
    const double from_first = static_cast<double>(g.index - bar_.first) + since + bar_.beats;
    if (from_first < 0) return p;
    p.source = BeatSource::playing;
    p.beat_length = Seconds{g.period};
    p.beat_confidence = surest * beat_confidence_ * known_for(at);
    p.confidence = p.beat_confidence * surest_bar * bar_.confidence;
    put_place(p, from_first, bar_.first == 0 ? 0 : 1, {bar_.beats, 2});
    return p;
}

} // namespace bowarm
