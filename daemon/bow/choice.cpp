#include "bow/choice.hpp"

#include "base/arithmetic.hpp"

namespace bowarm
{
namespace
{

constexpr std::size_t term_count = static_cast<std::size_t>(Term::count);

struct Costs {
    // Separate strokes alternate (L. Mozart 1756 ch. 4; Galamian 1962; from memory).
    double same_direction = 2.25;
    // After a rest long enough to lift, nothing obliges the bow to go on (E. A. H. Green 1990, from memory).
    double same_direction_after_rest = 0.5;
    // The strong beat takes a down-bow when nothing else is asked (K. W. Gehrkens, Essentials in Conducting, 1919).
    double up_on_strong_beat = 0.7;
    double up_on_strong_beat_after_rest = 1.0;
    // A phrase that starts on a weak beat starts up-bow (K. W. Gehrkens 1919).
    double down_on_weak_start = 0.25;
    // Strokes before the barline are counted: an odd number begins up, an even one down, so that the bar begins down
    // (string-class textbook, guidelines for bowing).  Live by the number expected, with hindsight where the beat is reached.
    double up_on_arrival = 2.0;
    double expected_up_on_arrival = 1.0;
    // Where the loudness jumps a new group begins, and its count may begin anew (common practice, no source).
    double same_direction_in_new_group = 1.5;
    // The same figure is bowed the same way when it returns (common practice, no source).
    double figure_differs = 4.0;
    // Players who double each other are bowed alike: the section follows its leader, and principals agree (common practice, no
    // source).  Above every rule of practice; want of hair can weigh more.
    double unlike_the_other = 5.0;
    // Crescendo up, diminuendo down (orchestration study notes; Green 1990, from memory).
    double against_swell = 0.25;
    // A long last note is a down-bow, unless it grows (Green 1990, from memory).
    double final_note_up = 0.6;
    // A long note off the beat that carries the stress is a down-bow (Green 1990, from memory).
    double syncopation_up = 0.5;
    // After a rest a loud start comes down from the frog, a soft one up from the tip (common practice, no source).
    double loud_start_up = 1.75;
    double soft_start_down = 0.9;
    // Dotted pairs are hooked: the short note joins the long one's direction (M. Rabin & P. Smith 1984 name the style; Green 1990,
    // from memory).
    double short_turns_bow = 2.3;
    // Enough hair for the expected length; the scale is our own.
    double hair_short = 6.0;
    // After a rest the bow is set down where such strokes are played: heavy ones near the frog, soft ones towards the tip
    // (common practice, no source).
    double away_from_its_place = 1.2;
    // An accent is a down-bow near the frog (string-class textbook: accents).
    double accent_up = 0.8;
    // Heavy low separate strokes are down-bows at the frog, each with a retake (orchestral practice: repeated down-bows;
    // M. Rabin & P. Smith list the style).
    double heavy_elsewhere = 3.5;
    // Forte chords are down-bows (string-class textbook: chords), a run of them down each time (Galamian 1962, from memory).
    double chord_up = 4.9;
    // Broad chords without a rest between them alternate (common practice, no source).
    double broad_chord_up = 0.5;
    // A lift is made for a reason; the scale is our own.
    double retake = 1.0;
    double retake_distance = 0.5;
    double unhurried = 0.3; // share of these after a long rest
    // The person's word is law.
    double against_wish = 1000;
    // A plan already weighed what it costs against what comes after.
    double against_plan = 200;
    // Nobody can bow past the end of the hair.
    double no_room = 100000;
};
constexpr Costs costs;

constexpr double heavy_accent = 1.25;
constexpr Seconds long_rest{1};
constexpr double syncopated = 0.9; // share of a beat from which an off-beat note is a syncopation
constexpr double whole_bow = 0.9;
constexpr double near_the_end = 0.9; // share of the expected stroke that has to fit
constexpr Loudness loud{0.56}, soft{0.46};
// Chords struck down one after another are printed at 0.316 s and more (counted in an editor's part of a virtuoso concerto); a hand
// is a little early at times.
constexpr Seconds shortest_repeat{0.28};
// Single notes struck down one after another are printed at 0.19 s (the same editor); a hand is a little early at times.
constexpr Seconds shortest_tune_repeat{0.16};
constexpr Seconds broad{0.55}; // time from stroke to stroke from which chords are drawn out

struct Candidate {
    Direction direction;
    bool retake;
    HairFraction from;
    std::array<double, term_count> cost{};
    double total() const
    {
        double sum = 0;
        for (double c : cost) sum += c;
        return sum;
    }
    double& operator[](Term t) { return cost[static_cast<std::size_t>(t)]; }
};

bool is_full_chord(const ChoiceNeeds& n) { return n.chord >= 3 && n.loudness >= loud; }

// A chord after a stroke that was long: both are drawn out, and the bow has come too far from the frog to strike again.
bool is_broad_chord(const ChoiceNeeds& n) { return n.chord >= 3 && n.since_last > broad && n.gap < n.lift_after; }

// Strokes that are struck near the frog one after another.
bool is_heavy(const ChoiceNeeds& n) { return !is_broad_chord(n) && (n.heavy_at_frog || n.low_tune || is_full_chord(n)); }

// The bow leaves them ringing, in time for the next.
bool is_left_ringing(const ChoiceNeeds& n)
{
    if (is_broad_chord(n)) return false;
    // A plan knows such a tune from its first note.
    const bool in_low_tune = n.low_tune || (n.planned_retake && n.weighty);
    return (is_full_chord(n) && n.since_last >= shortest_repeat) || (in_low_tune && n.since_last >= shortest_tune_repeat);
}

double distance(HairFraction a, HairFraction b) { return a < b ? b.value - a.value : a.value - b.value; }

// Share of the hair; zero for strokes to and fro at one place, at most the whole.
double liked_length(const Instrument& instrument, const ChoiceNeeds& n)
{
    if (n.stays) return 0;
    const double length = n.speed * n.expected / instrument.hair;
    return length < 1 ? length : 1;
}

// 0: the stroke fits at the speed it would like; 1: not even at the slowest it can bear.
double hair_shortage(const Instrument& instrument, const ChoiceNeeds& n, Direction d, HairFraction from)
{
    const HairFraction left = d == Direction::down ? HairFraction{1} - from : from;
    const double liked = n.speed * n.expected / instrument.hair;
    const double least = n.slowest * n.expected / instrument.hair * near_the_end;
    if (left.value >= liked) return 0;
    if (left.value <= least) return 1 + (least - left.value);
    return 0.5 * (liked - left.value) / (liked - least);
}

HairFraction ahead(Direction direction, HairFraction from) { return direction == Direction::down ? HairFraction{1} - from : from; }

// What the person asked for, and the plan; a wish for a direction is stronger than the wish to alternate.
void judge_words(const ChoiceNeeds& n, Candidate& c)
{
    if (n.same_bow && c.direction != n.last) c[Term::same_bow] = costs.against_wish;
    if (n.wish && c.direction != *n.wish) c[Term::wish] = costs.against_wish;
    if (n.retake_wish && !c.retake) c[Term::retake_wish] = costs.against_wish / 2;
    if (n.alternate && !n.same_bow && !n.wish && !n.first && c.direction == n.last) c[Term::alternate_wish] = costs.against_wish;
    if (n.planned && c.direction != *n.planned) c[Term::plan] = costs.against_plan;
    if (n.planned_retake && !c.retake) c[Term::plan] += costs.against_plan / 2;
}

// Where the note stands in its phrase.
void judge_phrase(const ChoiceNeeds& n, Candidate& c)
{
    const Direction against = n.swell == Swell::growing ? Direction::down : Direction::up;
    if (n.swell != Swell::none && c.direction == against) c[Term::swell] = costs.against_swell;
    if (n.final_long && n.swell != Swell::growing && c.direction == Direction::up) c[Term::final_note] = costs.final_note_up;
    const bool off_beat = n.beat.confidence > 0 && n.beat.weight == 0 && n.length_known;
    if (off_beat && n.expected > n.beat.beat_length * syncopated && c.direction == Direction::up)
        c[Term::syncopation] = n.beat.confidence * costs.syncopation_up;
    if (n.figure && c.direction != *n.figure) c[Term::figure] = n.figure_confidence * costs.figure_differs;
    if (n.doubled && c.direction != *n.doubled) c[Term::doubled] = costs.unlike_the_other;
}

void judge(const Instrument& instrument, const ChoiceNeeds& n, Candidate& c)
{
    judge_words(n, c);
    if (ahead(c.direction, c.from) < n.room_needed) c[Term::hair] += costs.no_room;
    if (n.alternate) return;
    const bool rested = n.first || n.gap >= n.lift_after;
    const double hurry = n.gap >= long_rest ? costs.unhurried : 1;
    const bool again_at_frog = is_heavy(n) && c.retake && c.direction == Direction::down;
    const bool hooks = n.short_after_long && c.direction == n.last && !c.retake;
    if (n.short_after_long && !hooks) c[Term::hook] = costs.short_turns_bow;
    if (!n.first && c.direction == n.last && !again_at_frog && !hooks)
        c[Term::alternation] = rested    ? costs.same_direction_after_rest * hurry
                               : n.fresh ? costs.same_direction_in_new_group
                                         : costs.same_direction;
    if (is_strong(n.beat) && c.direction == Direction::up)
        c[Term::strong_beat] = n.beat.confidence * (rested ? costs.up_on_strong_beat_after_rest : costs.up_on_strong_beat);
    if (n.arrives && c.direction == Direction::up) c[Term::arrival] = n.beat.confidence * costs.up_on_arrival;
    if (n.ahead_confidence > 0 && (rested || n.fresh) && !is_strong(n.beat)) {
        const bool even = n.strokes_ahead % 2 == 0;
        const Direction lands = even ? c.direction : opposite(c.direction);
        if (lands == Direction::up) c[Term::count_ahead] = n.beat.confidence * n.ahead_confidence * costs.expected_up_on_arrival;
    } else if (rested && !is_strong(n.beat) && c.direction == Direction::down) {
        c[Term::pickup] = n.beat.confidence * costs.down_on_weak_start * (1 - n.beat.weight);
    }
    c[Term::hair] += costs.hair_short * hair_shortage(instrument, n, c.direction, c.from);
    if (rested) {
        const double middle = c.from.value + sign(c.direction) * liked_length(instrument, n) / 2;
        c[Term::place] = costs.away_from_its_place * distance(HairFraction{middle}, n.preferred);
    }
    if (n.accent >= heavy_accent && c.direction == Direction::up) c[Term::accent] = costs.accent_up;
    if (rested && n.loudness >= loud && !n.leads_on && c.direction == Direction::up) c[Term::loud_start] = costs.loud_start_up;
    if (rested && n.loudness <= soft && c.direction == Direction::down) c[Term::soft_start] = costs.soft_start_down;
    if (c.direction == Direction::up && n.chord >= 3) c[Term::chord] = is_broad_chord(n) ? costs.broad_chord_up : costs.chord_up;
    if ((n.heavy_at_frog || n.low_tune) && is_heavy(n) && !again_at_frog) c[Term::accent] += costs.heavy_elsewhere;
    if (c.retake && !n.first) {
        c[Term::retake_effort] = hurry * (costs.retake + costs.retake_distance * distance(c.from, n.place));
    }
    judge_phrase(n, c);
}

// The terms by which the winner beat the best candidate of the other direction, the strongest first.
std::array<Term, 3> deciding(const Candidate& winner, const Candidate& other)
{
    std::array<double, term_count> gain{};
    double by_the_table = 0;
    constexpr auto plan = static_cast<std::size_t>(Term::plan);
    for (std::size_t i = 0; i < term_count; ++i) {
        gain[i] = other.cost[i] - winner.cost[i];
        if (i != plan) by_the_table += gain[i];
    }
    if (by_the_table >= 0) gain[plan] = 0; // the table says so anyhow, and why
    std::array<Term, 3> terms{Term::count, Term::count, Term::count};
    for (Term& t : terms) {
        std::size_t best = term_count;
        for (std::size_t i = 0; i < term_count; ++i)
            if (gain[i] > 0.05 && (best == term_count || gain[i] > gain[best])) best = i;
        if (best == term_count) break;
        t = static_cast<Term>(best);
        gain[best] = 0;
    }
    return terms;
}

} // namespace

Seconds retake_time(const Instrument& instrument, HairFraction distance) noexcept
{
    const double u = (distance.value - 1.0 / 3.0) / (2.0 / 3.0);
    return Seconds{between(instrument.retake_short.value, instrument.retake_whole.value, u < 0 ? 0 : u)};
}

HairFraction starting_place(Direction direction, HairFraction preferred, HairFraction length) noexcept
{
    return clamp(preferred - length * (0.5 * sign(direction)), HairFraction{0.04}, HairFraction{0.96});
}

namespace
{

// The wished direction has no hair left: only a lift can obey.
bool cornered(const ChoiceNeeds& n)
{
    if (!n.wish && !n.same_bow) return false;
    return ahead(n.wish ? *n.wish : n.last, n.place) < n.room_needed;
}

struct Candidates {
    FixedVector<Candidate, 4> all;
    Seconds nearest_miss{0}; // of a retake that does not fit
};

Candidates candidates_for(const Instrument& instrument, const ChoiceNeeds& n)
{
    Candidates found;
    const bool rested = n.gap >= n.lift_after;
    const bool left_ringing = is_left_ringing(n);
    const bool asked = n.retake_wish || n.planned_retake || cornered(n);
    const bool of_itself = n.automatic && !n.alternate && (rested || is_heavy(n));
    const bool may_lift = n.first || (!n.keep_on_string && (asked || of_itself));
    const HairFraction length{n.stays          ? 0.0
                              : n.length_known ? clamp(n.speed * n.expected, Metres{0}, instrument.hair) / instrument.hair
                                               : whole_bow};
    for (const Direction d : {Direction::down, Direction::up}) {
        if (!n.first) found.all.push_back({d, false, n.place, {}});
        if (!may_lift) continue;
        const HairFraction from = starting_place(d, n.preferred, length);
        const Seconds needed = n.first ? Seconds{0} : retake_time(instrument, HairFraction{distance(from, n.place)});
        if (n.first || needed <= n.gap || left_ringing) {
            found.all.push_back({d, true, from, {}});
        } else if (found.nearest_miss == Seconds{0} || needed - n.gap < found.nearest_miss) {
            found.nearest_miss = needed - n.gap;
        }
    }
    for (Candidate& c : found.all) judge(instrument, n, c);
    return found;
}

} // namespace

FixedVector<BowOption, 4> bow_options(const Instrument& instrument, const ChoiceNeeds& n) noexcept
{
    FixedVector<BowOption, 4> options;
    for (const Candidate& c : candidates_for(instrument, n).all) options.push_back({c.direction, c.retake && !n.first, c.from, c.total()});
    return options;
}

Choice choose(const Instrument& instrument, const ChoiceNeeds& n) noexcept
{
    const Candidates found = candidates_for(instrument, n);
    const FixedVector<Candidate, 4>& candidates = found.all;
    Choice choice;
    const Candidate* best = &candidates[0];
    for (const Candidate& c : candidates)
        if (c.total() < best->total()) best = &c;
    const Candidate* other = nullptr;
    for (const Candidate& c : candidates)
        if (c.direction != best->direction && (other == nullptr || c.total() < other->total())) other = &c;
    choice.direction = best->direction;
    choice.retake = best->retake && !n.first;
    choice.hooked = !n.first && !best->retake && best->direction == n.last;
    choice.from = best->from;
    if (other != nullptr) choice.decided = deciding(*best, *other);
    if (n.retake_wish && !best->retake) choice.retake_short = found.nearest_miss;
    return choice;
}

} // namespace bowarm
