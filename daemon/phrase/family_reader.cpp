#include "phrase/family_reader.hpp"

#include "base/arithmetic.hpp"

#include <cmath>

namespace bowarm
{
namespace
{

enum Told { separate, short_notes, accented_short };

// log2 of the share of its time that a note is held; the header has the sources.
constexpr double full = -0.152;       // nine tenths
constexpr double half = -1.0;
constexpr double two_thirds = -0.585;
// How far a line's own share may lead its family away from that.
constexpr double least_full = -0.74;  // 0.6
constexpr double most_half = -0.36;   // 0.78
constexpr double least_two_thirds = -0.86, most_two_thirds = -0.29; // 0.55, 0.82

// A hand's unevenness.  Our defaults.
constexpr double uneven_length = 0.25;  // octaves, of the share
constexpr double uneven_onsets = 0.030; // octaves of share times seconds: two onsets, 15 ms each
constexpr double uneven_velocity = 9;
constexpr double accent_step = 16; // of velocity: one of the eight dynamics from ppp to fff
constexpr double standing_out = 28;

// Points of the tally.
constexpr double change = 3.5;        // what a change of articulation costs
constexpr double lead = 0.7;          // by which the better one has to lead
constexpr double one_short_note = 3;  // at most, against separate: less than a change, for a phrase may end with a short note
constexpr double one_long_note = 6;   // at most, against the others
constexpr double not_louder = 2.5;    // at most, against accented
constexpr double louder = 1.5;        // at most, against the others: a line may become louder without accents

// Shares of the newest note in what is followed.
constexpr double follow_share = 0.15;
constexpr double follow_velocity = 0.25;
constexpr double follow_plain_under_accents = 0.08;

constexpr double rest_from = 1.6;     // times the expected interval: a rest may be in it
constexpr double struck_again = 1.25; // a key has to come up earlier to be struck again

constexpr double points(double distance, double unevenness, double at_most)
{
    const double p = 0.5 * (distance / unevenness) * (distance / unevenness);
    return distance <= 0 ? 0 : (p < at_most ? p : at_most);
}

constexpr double least(double a, double b) { return a < b ? a : b; }
constexpr double most(double a, double b) { return a < b ? b : a; }

// How far the value may be followed from where a family is at home.
constexpr double bounded(double share, int family)
{
    switch (family) {
    case separate:
        return most(share, least_full);
    case short_notes:
        return least(share, most_half);
    default:
        return least(most(share, least_two_thirds), most_two_thirds);
    }
}

constexpr double at_home(int family) { return family == separate ? full : (family == short_notes ? half : two_thirds); }

} // namespace

Family FamilyReader::read(const Onset& onset, const Rhythm& rhythm) noexcept
{
    onset_ = onset;
    const PastNote* before = rhythm.newest();
    const bool was_repeating = repeats_.under_way();
    if (before != nullptr)
        repeats_.onset(onset.repeats, before->interval);
    else
        repeats_.stop();
    if (before == nullptr || repeats_.under_way())
        start_again();
    else if (!was_repeating && !before->reached)
        hear_length(*before, onset.repeats);
    expected_ = rhythm.known() ? rhythm.expected_interval() : Seconds{0};
    if (repeats_.under_way()) return Family::fast_repeated;
    if (onset.slurred) return Family::slurred;
    return read_parted();
}

Family FamilyReader::read_parted() noexcept
{
    hear_velocity();
    settle();
    return family();
}

Family FamilyReader::family() const noexcept
{
    // A single hard note among short ones; louder for good, and the running average has caught up.
    if (present_ == short_notes && excess() > standing_out) return Family::accented_short;
    switch (present_) {
    case separate:
        return Family::separate;
    case short_notes:
        return Family::short_notes;
    case accented_short:
        return Family::accented_short;
    default:
        return Family::ambiguous;
    }
}

void FamilyReader::start_again() noexcept
{
    tally_ = {};
    present_ = unknown;
}

void FamilyReader::hear_length(const PastNote& note, bool again) noexcept
{
    // Where a rest may follow, or the key had to come up, the written length lies in between: each family takes it at its best.
    const double low = most(note.held / note.interval, 0.02);
    double high = low;
    if (expected_ > Seconds{0} && note.interval > expected_ * rest_from) high = most(low, note.held / expected_);
    if (again) high *= struck_again;
    const double from = log_of_two(low);
    const double to = log_of_two(high);
    const double by_onsets = uneven_onsets / note.interval.value;
    const double unevenness = std::sqrt(uneven_length * uneven_length + by_onsets * by_onsets);

    std::array<double, told_by_length> share{full, half, two_thirds};
    if (present_ == separate) share[separate] = least(own_share_, full);
    if (present_ == short_notes) share[short_notes] = most(own_share_, half);
    if (present_ == accented_short) share[accented_short] = own_share_;
    tally_[separate] -= points(share[separate] - to, unevenness, one_short_note);
    tally_[short_notes] -= points(from - share[short_notes], unevenness, one_long_note);
    tally_[accented_short] -= points(most(from - share[accented_short], share[accented_short] - to), unevenness, one_long_note);
    if (present_ == unknown || from != to) return;
    own_share_ = bounded(own_share_ + follow_share * (from - own_share_), present_);
}

// Velocity over what notes without accent have; where a controller says how loud, also over that, for both may grow together.
double FamilyReader::excess() const noexcept
{
    const double over = onset_.velocity - plain_;
    if (!onset_.hand) return over;
    return least(over, onset_.velocity - 127 * onset_.hand->value - plain_over_hand_);
}

void FamilyReader::hear_velocity() noexcept
{
    const double v = onset_.velocity;
    const double over_hand = onset_.hand ? v - 127 * onset_.hand->value : 0.0;
    if (!any_) {
        plain_ = v;
        plain_over_hand_ = over_hand;
        any_ = true;
    }
    const double over = excess();
    const double plain = points(over, uneven_velocity, louder);
    tally_[separate] -= plain;
    tally_[short_notes] -= plain;
    if (present_ == accented_short)
        tally_[accented_short] -= points(hard_ - v, uneven_velocity, not_louder);
    else if (v < 127 * forte_.value)
        tally_[accented_short] -= points(accent_step - over, uneven_velocity, not_louder);
    const double follow = present_ == accented_short ? follow_plain_under_accents : follow_velocity;
    plain_ += follow * (v - plain_);
    plain_over_hand_ += follow * (over_hand - plain_over_hand_);
    hard_ += follow_velocity * (v - hard_);
}

void FamilyReader::settle() noexcept
{
    int best = separate;
    for (int f = short_notes; f < told_by_length; ++f)
        if (tally_[static_cast<std::size_t>(f)] > tally_[static_cast<std::size_t>(best)]) best = f;
    const double top = tally_[static_cast<std::size_t>(best)];
    double behind = -change;
    for (int f = 0; f < told_by_length; ++f) {
        double& tally = tally_[static_cast<std::size_t>(f)];
        tally = most(tally - top, -change);
        if (f != best && (present_ == unknown || f == present_)) behind = most(behind, tally);
    }
    if (best == present_ || behind > -lead) return;
    present_ = best;
    own_share_ = at_home(best);
    hard_ = onset_.velocity;
}

} // namespace bowarm
