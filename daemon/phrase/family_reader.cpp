#include "phrase/family_reader.hpp"

#include "base/arithmetic.hpp"

#include <cmath>

namespace bowarm
{
namespace
{

// log2 of the share of its time that a note is held; the header has the sources.
constexpr double full = -0.152; // nine tenths
constexpr double half = -1.0;
constexpr double two_thirds = -0.585;
constexpr double very_short = -1.25; // 0.42: no hand holds a full note so unevenly
// How far a line's own share may lead its family away from that.
constexpr double least_full = -0.43;                                // 0.74
constexpr double most_half = -0.69;                                 // 0.62
constexpr double least_two_thirds = -0.79, most_two_thirds = -0.40; // 0.58, 0.76

// A hand's unevenness.
constexpr double uneven_length = 0.25;  // octaves, of the share
constexpr double uneven_onsets = 0.030; // octaves of share times seconds: two onsets, 15 ms each
constexpr double uneven_velocity = 6.5;
constexpr double accent_step = 12;  // of velocity, at least
constexpr double standing_out = 20; // more than a step of the dynamics: a single accent

// Points of the tally, each at most from one note.
constexpr double change = 3.2;         // what a change of articulation costs
constexpr double lead = 0.55;          // by which the better one has to lead
constexpr double doubt = 1.9;          // so near to another family nothing is followed
constexpr double one_short_note = 3.6; // against separate: less than a change, for a phrase may end with a short note
constexpr double one_long_note = 4.3;  // against the others
constexpr double louder = 3.0;         // against the others: a line may become louder without accents
constexpr double not_louder = 0.8;     // against accented, before accents were read
constexpr double softer = 1.0;         // the same, while they are

// Shares of the newest note in what is followed.
constexpr double follow_interval = 0.4;
constexpr double follow_share = 0.06;
constexpr double follow_hard = 0.2;
constexpr double follow_accented = 0.5; // under accents their length says more than how hard they are
constexpr double follow_plain = 0.11;   // a note too long or too short for an accent: how loud it is now
constexpr double follow_between = 0.06;
constexpr double follow_unclear = 0.03;
constexpr double clearly = 0.4; // points

constexpr double rest_from = 1.6;      // times the expected interval: a rest may be in it
constexpr double held_to_repeat = 1.5; // 0.9 over 0.6: a key has to come up earlier to be struck again

constexpr double points(double distance, double unevenness, double at_most)
{
    const double p = 0.5 * (distance / unevenness) * (distance / unevenness);
    return distance <= 0 ? 0 : (p < at_most ? p : at_most);
}

constexpr double least(double a, double b) { return a < b ? a : b; }
constexpr double most(double a, double b) { return a < b ? b : a; }

} // namespace

Family FamilyReader::read(const Onset& onset, const Rhythm& rhythm, const Ahead& ahead) noexcept
{
    const PastNote* before = rhythm.newest();
    if (before != nullptr)
        repeats_.onset(onset.repeats, before->interval);
    else
        repeats_.stop();
    finish(before, onset.repeats);
    newest_ = onset;
    any_ = true;
    if (repeated_on(ahead)) return Family::fast_repeated;
    if (onset.slurred) return Family::slurred;
    return read_parted(ahead);
}

Family FamilyReader::read_parted(const Ahead& ahead) noexcept
{
    const Points velocity = velocity_points(newest_.struck);
    for (std::size_t f = 0; f < told_count; ++f) tally_[f] -= velocity[f];
    settle(way_on(ahead));
    return family();
}

// Whether the newest note is one of fast repeats: as the notes before say, and those that follow, where they are known.
bool FamilyReader::repeated_on(const Ahead& ahead) const noexcept
{
    const bool under_way = repeats_.under_way();
    FastRepeats then = repeats_;
    bool same = true; // all that follow are struck on the newest's pitch
    for (std::size_t i = 0; i < ahead.notes.size(); ++i) {
        const bool again = i + 1 < ahead.notes.size() ? ahead.notes[i + 1].repeats : ahead.next_repeats;
        then.onset(again, ahead.notes[i].note.interval);
        same = same && again;
        if (!under_way && !same) return false;
        if (!under_way && then.under_way()) return true;
        // The repeats end before the newest's pitch is struck again: it belongs to what follows, or is the last of them.
        if (under_way && !then.under_way()) return newest_.repeats;
        if (under_way && again) return true;
    }
    return under_way;
}

// What the notes that follow say for each family: the best sum from here on, a change at its cost.
FamilyReader::Points FamilyReader::way_on(const Ahead& ahead) const noexcept
{
    Points best{};
    for (std::size_t i = ahead.notes.size(); i > 0; --i) {
        const NoteAhead& next = ahead.notes[i - 1];
        const bool struck_again = i < ahead.notes.size() ? ahead.notes[i].repeats : ahead.next_repeats;
        Points from{};
        for (std::size_t f = 0; f < told_count; ++f) {
            from[f] = best[f];
            for (const double other : best) from[f] = most(from[f], other - change);
        }
        const Points length = next.note.reached ? Points{} : length_points(next.note, share_of(next.note, struck_again));
        const Points velocity = i > 1 ? velocity_points({next.velocity, newest_.struck.hand}) : Points{};
        for (std::size_t f = 0; f < told_count; ++f) best[f] = from[f] - length[f] - velocity[f];
    }
    return best;
}

Family FamilyReader::family() const noexcept
{
    switch (present_) {
    case separate:
        return Family::separate;
    case short_notes:
        // A single hard note; where the line has become louder, what is expected of it follows.
        return accents_.over(newest_.struck) > standing_out ? Family::accented_short : Family::short_notes;
    case accented_short:
        return Family::accented_short;
    case unknown:
        break;
    }
    return Family::ambiguous;
}

void FamilyReader::start_again() noexcept
{
    tally_ = {};
    present_ = unknown;
    expected_ = Seconds{0};
}

// The onset that follows says how long the note before was: what it was is weighed, and followed.
void FamilyReader::finish(const PastNote* before, bool struck_again) noexcept
{
    Points length{};
    if (before == nullptr || repeats_.under_way()) {
        start_again();
    } else {
        if (!before->reached) {
            const Share share = share_of(*before, struck_again);
            length = length_points(*before, share);
            follow_length(share);
        }
        expected_ = expected_ > Seconds{0} ? expected_ + (before->interval - expected_) * follow_interval : before->interval;
    }
    for (std::size_t f = 0; f < told_count; ++f) tally_[f] -= length[f];
    if (!any_) return;
    accents_.follow(newest_.struck, share_to_follow(length));
    hard_ += follow_hard * (newest_.struck.velocity - hard_);
}

FamilyReader::Share FamilyReader::share_of(const PastNote& note, bool struck_again) const noexcept
{
    // Where a rest may follow, or the key had to come up, what was meant lies in between: each family takes it at its best.
    const double low = most(note.held / note.interval, 0.02);
    double high = low;
    if (expected_ > Seconds{0} && note.interval > expected_ * rest_from) high = most(low, note.held / expected_);
    if (struck_again) high *= held_to_repeat;
    return {log_of_two(low), log_of_two(high)};
}

FamilyReader::Points FamilyReader::length_points(const PastNote& note, const Share& share) const noexcept
{
    const double by_onsets = uneven_onsets / note.interval.value;
    const double unevenness = std::sqrt(uneven_length * uneven_length + by_onsets * by_onsets);

    const double of_separate = present_ == separate ? least(own_share_, full) : full;
    const double of_short = present_ == short_notes ? most(own_share_, half) : half;
    const double of_accented = present_ == accented_short ? own_share_ : two_thirds;
    Points p{};
    p[separate] = points(of_separate - share.to, unevenness, share.to < very_short ? one_long_note : one_short_note);
    p[short_notes] = points(share.from - of_short, unevenness, one_long_note);
    p[accented_short] = points(most(share.from - of_accented, of_accented - share.to), unevenness, one_long_note);
    return p;
}

void FamilyReader::follow_length(const Share& share) noexcept
{
    if (present_ == unknown || share.from != share.to || in_doubt()) return;
    own_share_ += follow_share * (share.from - own_share_);
    if (present_ == separate) own_share_ = most(own_share_, least_full);
    if (present_ == short_notes) own_share_ = least(own_share_, most_half);
    if (present_ == accented_short) own_share_ = least(most(own_share_, least_two_thirds), most_two_thirds);
}

double FamilyReader::share_to_follow(const Points& length) const noexcept
{
    if (present_ == accented_short) return follow_accented;
    const double for_an_accent = least(length[separate], length[short_notes]) - length[accented_short];
    return for_an_accent > clearly ? follow_between : (for_an_accent < -clearly ? follow_plain : follow_unclear);
}

FamilyReader::Points FamilyReader::velocity_points(const Struck& struck) const noexcept
{
    const double v = struck.velocity;
    const double over = accents_.over(struck);
    Points p{};
    p[separate] = p[short_notes] = points(over, uneven_velocity, louder);
    if (present_ == accented_short)
        p[accented_short] = points(hard_ - v, uneven_velocity, softer);
    else if (v < 127 * forte_.value)
        p[accented_short] = points(accent_step - over, uneven_velocity, not_louder);
    return p;
}

// Another family comes near: what is followed waits until it is clear whether the line has changed.
bool FamilyReader::in_doubt() const noexcept
{
    for (std::size_t f = 0; f < told_count; ++f)
        if (f != present_ && tally_[f] > tally_[present_] - doubt) return true;
    return false;
}

void FamilyReader::settle(const Points& way_on) noexcept
{
    double top = tally_[separate];
    for (const double t : tally_) top = most(top, t);
    for (double& t : tally_) t = most(t - top, -change);
    const auto sum = [&](std::size_t f) { return tally_[f] + way_on[f]; };
    Told best = separate;
    for (const Told f : {short_notes, accented_short})
        if (sum(f) > sum(best)) best = f;
    double behind = -change; // the present family, or while none is known the next best
    for (std::size_t f = 0; f < told_count; ++f)
        if (f != best && (present_ == unknown || f == present_)) behind = most(behind, sum(f) - sum(best));
    if (best == present_ || behind > -lead) return;
    constexpr Points at_home{full, half, two_thirds};
    present_ = best;
    own_share_ = at_home[best];
    hard_ = newest_.struck.velocity;
}

} // namespace bowarm
