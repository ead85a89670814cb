#include "take/part/rhythm.hpp"

#include <algorithm>
#include <array>
#include <limits>
#include <numeric>

namespace bowarm::part
{
namespace
{

constexpr double spread_s = 0.02;               // of a hand's onsets
constexpr double odd_one = 6;                   // a note further off costs no more than this
constexpr double squeezed = 6;                  // two attacks on one place
constexpr double other_class = 0.6;             // from beats in twos to beats in threes, or back
constexpr Duration together = milliseconds(45); // keys of one chord
constexpr Duration ornament = milliseconds(90);

// A way to divide a beat, and how far it is from plain; measured against the spread, in halves of its square.
struct Way {
    int parts;
    bool tuplet;
    double cost;
};
constexpr std::array<Way, 8> simple_ways{
    {{1, false, 0}, {2, false, 0.3}, {4, false, 0.8}, {8, false, 4}, {3, true, 0.9}, {6, true, 2.5}, {12, true, 8}, {5, true, 6}}};
constexpr std::array<Way, 6> compound_ways{{{1, false, 0}, {3, false, 0.3}, {6, false, 0.8}, {12, false, 4}, {2, true, 3}, {4, true, 5}}};
// Over two beats, and over four: quarters or halves in threes.
constexpr std::array<Way, 2> ways_over_two{{{3, true, 1.2}, {6, true, 3}}};
constexpr std::array<Way, 1> ways_over_four{{{3, true, 1.5}}};

struct Attack {
    double at{0}; // quarters
    double quarter_s{0.5};
    std::size_t first{0}, last{0}; // played notes, one past the last
    Ticks ticks{0};
    bool grace{false};
};

std::vector<Attack> attacks_of(std::span<const PlayedNote> notes)
{
    std::vector<Attack> attacks;
    for (std::size_t i = 0; i < notes.size(); ++i) {
        if (!attacks.empty()) {
            const PlayedNote& first = notes[attacks.back().first];
            const bool slurred = notes[i].told.slurred && notes[i].told.pitch != first.told.pitch;
            const bool sounding = notes[i].at < first.end;
            if (notes[i].at - first.at < together && sounding && !slurred) {
                attacks.back().last = i + 1;
                continue;
            }
        }
        attacks.push_back({notes[i].onset, notes[i].quarter.value, i, i + 1, 0, false});
    }
    return attacks;
}

struct Beat {
    Ticks begin{0}, length{0};
    bool threes{false};
    std::size_t first{0}, last{0}; // attacks
    int in_bar{0}, of_bar{1};      // which of how many beats; 0 of them: the last one is shorter
    double share(double quarters) const
    {
        return (quarters * static_cast<double>(ticks_a_quarter) - static_cast<double>(begin)) / static_cast<double>(length);
    }
};

std::vector<Beat> beats_of(std::span<const Bar> bars, std::span<const Attack> attacks)
{
    std::vector<Beat> beats;
    std::size_t next = 0;
    for (const Bar& bar : bars) {
        const Ticks usual = beat_of(bar.meter);
        const int of_bar = bar.length % usual == 0 ? static_cast<int>(bar.length / usual) : 0;
        for (Ticks at = bar.begin; at < bar.end(); at += usual) {
            const int in_bar = static_cast<int>((at - bar.begin) / usual);
            Beat beat{at, std::min(usual, bar.end() - at), in_threes(bar.meter), next, next, in_bar, of_bar};
            if (beat.length != usual) beat.threes = false;
            const double end = static_cast<double>(at + beat.length) / static_cast<double>(ticks_a_quarter);
            while (next < attacks.size() && attacks[next].at < end) ++next;
            beat.last = next;
            beats.push_back(beat);
        }
    }
    if (!beats.empty()) beats.back().last = attacks.size();
    return beats;
}

int slot_of(double share, int parts) { return std::clamp(static_cast<int>(share * parts + 0.5), 0, parts); }

double misfit(const Beat& beat, std::span<const Attack> attacks, int parts)
{
    double cost = 0;
    int before = -1;
    for (std::size_t i = beat.first; i < beat.last; ++i) {
        const double share = beat.share(attacks[i].at);
        const int slot = slot_of(share, parts);
        const double beat_s = attacks[i].quarter_s * static_cast<double>(beat.length) / static_cast<double>(ticks_a_quarter);
        const double off = (share - static_cast<double>(slot) / parts) * beat_s / spread_s;
        cost += std::min(off * off / 2, odd_one);
        if (slot == before) cost += squeezed;
        before = slot;
    }
    return cost;
}

// The cheapest way of each class; class 1 is what divides by three (in compound meters by two) against the meter.
struct Choice {
    int parts{1};
    double cost{0};
};
using Choices = std::array<Choice, 2>;

Choices choices_of(const Beat& beat, std::span<const Attack> attacks)
{
    Choices best;
    for (Choice& c : best) c.cost = std::numeric_limits<double>::max();
    const auto weigh = [&](const Way& way) {
        const double cost = way.cost + misfit(beat, attacks, way.parts);
        if (way.parts == 5 && beat.length % 5 != 0) return;
        Choice& c = best[way.tuplet ? 1 : 0];
        if (cost < c.cost) c = {way.parts, cost};
        if (way.parts == 1 && cost < best[1].cost) best[1] = {1, cost};
    };
    if (beat.threes)
        std::for_each(compound_ways.begin(), compound_ways.end(), weigh);
    else
        std::for_each(simple_ways.begin(), simple_ways.end(), weigh);
    return best;
}

// Beats that a tuplet may lie over together: none that hides the middle of a bar.
bool may_join(std::span<const Beat> beats)
{
    const int count = static_cast<int>(beats.size());
    const Beat& first = beats.front();
    if (first.threes || first.in_bar + count > first.of_bar) return false;
    return first.of_bar % 2 != 0 ? count == 2 : first.of_bar % count == 0 && first.in_bar % count == 0;
}

Beat joined(std::span<const Beat> beats)
{
    Beat beat = beats.front();
    beat.length *= static_cast<Ticks>(beats.size());
    beat.last = beats.back().last;
    return beat;
}

// An attack in the middle divides the stretch in two: then it is no tuplet over both halves.
bool divides_in_half(const Beat& beat, std::span<const Attack> attacks, int parts)
{
    for (std::size_t i = beat.first; i < beat.last; ++i)
        if (slot_of(beat.share(attacks[i].at), parts) * 2 == parts) return true;
    return false;
}

Choice over_several(const Beat& beat, std::span<const Attack> attacks, std::span<const Way> ways)
{
    Choice best{1, std::numeric_limits<double>::max()};
    for (const Way& way : ways) {
        if (divides_in_half(beat, attacks, way.parts)) continue;
        const double cost = way.cost + misfit(beat, attacks, way.parts);
        if (cost < best.cost) best = {way.parts, cost};
    }
    return best;
}

struct Divided {
    std::vector<Beat> beats; // those under one tuplet are one
    std::vector<int> parts;
};

// The cheapest way to divide the beats, class after class.
class Dividing
{
public:
    Dividing(const std::vector<Beat>& beats, std::span<const Attack> attacks) : beats_(beats), attacks_(attacks), steps_(beats.size() + 1)
    {
        for (std::size_t i = 0; i < beats.size(); ++i) {
            const Choices choices = choices_of(beats[i], attacks);
            for (std::size_t c = 0; c < 2; ++c) step(i, 1, c, choices[c]);
            if (i >= 1) step_over(i - 1, 2, ways_over_two);
            if (i >= 3) step_over(i - 3, 4, ways_over_four);
        }
    }

    Divided divided() const
    {
        Divided out;
        std::size_t c = steps_.back()[0].cost <= steps_.back()[1].cost ? 0 : 1;
        for (std::size_t i = beats_.size(); i > 0;) {
            const Step& s = steps_[i][c];
            out.beats.push_back(joined(std::span{beats_}.subspan(i - s.beats, s.beats)));
            out.parts.push_back(s.parts);
            i -= s.beats;
            c = s.from;
        }
        std::reverse(out.beats.begin(), out.beats.end());
        std::reverse(out.parts.begin(), out.parts.end());
        return out;
    }

private:
    struct Step {
        double cost{std::numeric_limits<double>::max()};
        std::size_t beats{1};
        int parts{1};
        std::size_t from{0}; // class
    };

    void step(std::size_t from, std::size_t count, std::size_t c, const Choice& choice)
    {
        const auto& before = steps_[from];
        const std::size_t other = 1 - c;
        const double same = from == 0 ? 0 : before[c].cost;
        const double turned = (from == 0 ? 0 : before[other].cost) + other_class;
        Step& now = steps_[from + count][c];
        const double cost = std::min(same, turned) + choice.cost;
        if (cost < now.cost) now = {cost, count, choice.parts, same <= turned ? c : other};
    }

    void step_over(std::size_t from, std::size_t count, std::span<const Way> ways)
    {
        const auto together = std::span{beats_}.subspan(from, count);
        if (!may_join(together)) return;
        const Beat beat = joined(together);
        if (beat.first < beat.last) step(from, count, 1, over_several(beat, attacks_, ways));
    }

    const std::vector<Beat>& beats_;
    std::span<const Attack> attacks_;
    std::vector<std::array<Step, 2>> steps_; // by how many beats are divided
};

// Puts the attacks of a beat on its division; the parts that are left when unused places are taken away.
int put_on(const Beat& beat, std::vector<Attack>& attacks, int parts)
{
    int used = parts;
    for (std::size_t i = beat.first; i < beat.last; ++i) {
        const int slot = slot_of(beat.share(attacks[i].at), parts);
        attacks[i].ticks = beat.begin + beat.length * slot / parts;
        if (slot % parts != 0) used = std::gcd(used, slot);
    }
    return parts / used;
}

// Of two attacks on one place the first is an ornament, or a finger that came late.
void part_the_squeezed(std::vector<Attack>& attacks, std::span<const PlayedNote> notes)
{
    std::vector<Attack> parted;
    for (const Attack& attack : attacks) {
        if (!parted.empty() && parted.back().ticks >= attack.ticks) {
            const Duration apart = notes[attack.first].at - notes[parted.back().first].at;
            if (parted.back().grace || apart < ornament) parted.back().grace = true;
        }
        parted.push_back(attack);
    }
    // What is no ornament and still on one place becomes a chord.
    attacks.clear();
    for (const Attack& attack : parted) {
        const bool same = !attacks.empty() && !attacks.back().grace && !attack.grace && attacks.back().ticks >= attack.ticks;
        if (same)
            attacks.back().last = attack.last;
        else
            attacks.push_back(attack);
    }
}

// How much of its written length a note sounds when played with this technique; common practice, no source.
struct Held {
    double share, spread;
    bool shortened{false}; // so a long value is not likely
};
Held held(const PlayedNote& note)
{
    switch (note.told.technique) {
    case Technique::staccato:
    case Technique::spiccato:
    case Technique::sautille:
    case Technique::col_legno_battuto:
    case Technique::martele:
        return {0.5, 0.17, true};
    case Technique::marcato:
    case Technique::hooked:
        return {0.72, 0.2, true};
    default:
        return {0.92, 0.13};
    }
}

// One note without a tie.
bool is_plain(Ticks length)
{
    while (length % 2 == 0) length /= 2;
    return length == 15 || length == 45 || length % 15 != 0; // of a whole note; dotted; inside a tuplet
}

// The places in a beat where a note may end.
int end_places(const Beat& beat, int parts)
{
    const int usual = beat.threes ? 3 : 2;
    const bool tuplet = parts > 1 && parts % usual != 0;
    if (tuplet) return parts;
    return std::max(parts, beat.threes ? 3 : 2);
}

constexpr double long_notes_spread = 0.7;            // of the spread of short ones: who holds a long note holds it nearly to its end
constexpr Ticks shortest_rest = ticks_a_quarter / 2; // shorter ones are seldom written
constexpr double any_short_note = 2.2;               // a quarter or less may be as short as it likes,
constexpr double shortest_share = 0.35;              // down to this share of it

class Lengths
{
public:
    Lengths(const std::vector<Beat>& beats, const std::vector<int>& parts) : beats_(beats), parts_(parts) {}

    // The end of a note from `begin`, at `latest` where the next one begins; attacks come in order.
    Ticks end_of(const PlayedNote& note, Ticks begin, Ticks latest)
    {
        while (at_ + 1 < beats_.size() && beats_[at_ + 1].begin <= begin) ++at_;
        const double sounds = (note.release - note.onset) * static_cast<double>(ticks_a_quarter);
        const bool rings = is_plucked(note.told.technique) || note.told.plucked;
        const Held usual = held(note);
        const Ticks beat = beats_[at_].length;
        Ticks best = latest;
        double least = std::numeric_limits<double>::max();
        const auto weigh = [&](Ticks end) {
            const double length = static_cast<double>(end - begin);
            double cost = 0;
            if (rings) {
                cost = end - begin > beat ? 3 + length / static_cast<double>(beat) : 0;
            } else {
                const bool lasts = end - begin > ticks_a_quarter;
                const double off =
                    (std::min(sounds / length, 1.0) - usual.share) / (lasts ? usual.spread * long_notes_spread : usual.spread);
                cost = off * off / 2;
                if (!lasts && sounds > length * shortest_share) cost = std::min(cost, any_short_note);
                if (sounds > length) { // it sounds longer than it would be written
                    const double over = (sounds / length - 1) / 0.06;
                    cost += over * over / 2;
                }
            }
            if (!is_plain(end - begin)) cost += 0.7;
            if (usual.shortened && end - begin > beat) cost += 2;
            if (end < latest) cost += 1.5 + (rings ? 0.5 : 0) + untidy(end, begin) + (latest - end < shortest_rest ? 1 : 0);
            if (cost < least) {
                least = cost;
                best = end;
            }
        };
        weigh(latest);
        const Ticks most = begin + static_cast<Ticks>(sounds * 3) + beat;
        for (std::size_t i = at_; i < beats_.size() && beats_[i].begin < std::min(latest, most); ++i) {
            const int places = end_places(beats_[i], parts_[i]);
            for (int k = 1; k <= places; ++k) {
                const Ticks end = beats_[i].begin + beats_[i].length * k / places;
                if (end > begin && end < latest) weigh(end);
            }
        }
        return best;
    }

private:
    // Rests begin on beats, or where the note is as long as a plain value.
    double untidy(Ticks end, Ticks begin) const
    {
        for (std::size_t i = at_; i < beats_.size() && beats_[i].begin <= end; ++i)
            if (beats_[i].begin == end) return 0;
        const Ticks length = end - begin;
        return ticks_a_quarter % length == 0 ? 0.6 : 0.8;
    }

    const std::vector<Beat>& beats_;
    const std::vector<int>& parts_;
    std::size_t at_{0};
};

// Notes that sound on under a later attack are tied into it.
class Slices
{
public:
    explicit Slices(std::span<const PlayedNote> notes) : notes_(notes) {}

    void add(const Attack& attack, const std::vector<Ticks>& ends, Ticks next)
    {
        Segment segment;
        segment.begin = attack.ticks;
        segment.grace = attack.grace;
        if (attack.grace) {
            for (std::size_t i = attack.first; i < attack.last; ++i) segment.heads.push_back({i});
            segment.end = segment.begin;
            segments_.push_back(segment);
            return;
        }
        std::vector<Sounding> now;
        Ticks end = attack.ticks;
        for (std::size_t i = attack.first; i < attack.last; ++i) {
            now.push_back({i, ends[i - attack.first], false});
            end = std::max(end, ends[i - attack.first]);
        }
        for (const Sounding& s : sounding_) {
            const bool goes_on = s.end > attack.ticks && !has_pitch(now, notes_[s.played].told.pitch);
            if (!goes_on) continue;
            now.push_back({s.played, s.end, true});
            tie_on(s.played);
            end = std::max(end, std::min(s.end, next));
        }
        segment.end = std::min(end, next);
        for (const Sounding& s : now) segment.heads.push_back({s.played, s.from_before, false});
        segments_.push_back(segment);
        sounding_ = std::move(now);
    }

    std::vector<Segment> take() { return std::move(segments_); }

private:
    struct Sounding {
        std::size_t played;
        Ticks end;
        bool from_before;
    };
    bool has_pitch(const std::vector<Sounding>& now, std::uint8_t pitch) const
    {
        return std::any_of(now.begin(), now.end(), [&](const Sounding& s) { return notes_[s.played].told.pitch == pitch; });
    }
    void tie_on(std::size_t played)
    {
        for (auto segment = segments_.rbegin(); segment != segments_.rend(); ++segment) {
            if (segment->grace) continue;
            for (Head& head : segment->heads)
                if (head.played == played) head.tied_on = true;
            return;
        }
    }

    std::span<const PlayedNote> notes_;
    std::vector<Sounding> sounding_;
    std::vector<Segment> segments_;
};

// A note that is meant to sound on under the next: by half of that one's time, or of a beat.
bool sounds_on(const PlayedNote& note, const PlayedNote& next, const PlayedNote& after_next)
{
    const double next_lasts = std::max(0.05, after_next.onset - next.onset);
    return note.release > next.onset + 0.5 * std::min(1.0, next_lasts);
}

std::vector<Segment> segments_of(std::span<const PlayedNote> notes, const std::vector<Attack>& attacks, const std::vector<Beat>& beats,
                                 const std::vector<int>& parts)
{
    Slices slices(notes);
    Lengths lengths(beats, parts);
    const Ticks last = beats.empty() ? 0 : beats.back().begin + beats.back().length;
    std::vector<Ticks> ends;
    for (std::size_t a = 0; a < attacks.size(); ++a) {
        const Attack& attack = attacks[a];
        std::size_t follower = a + 1;
        while (follower < attacks.size() && attacks[follower].grace) ++follower;
        const Ticks next = follower < attacks.size() ? attacks[follower].ticks : last;
        ends.clear();
        for (std::size_t i = attack.first; i < attack.last; ++i) {
            Ticks end = next > attack.ticks ? lengths.end_of(notes[i], attack.ticks, next) : attack.ticks;
            // Over several attacks: to the one that begins nearest to where it ends.
            std::size_t over = follower;
            while (over < attacks.size()) {
                const std::size_t then = std::min(over + 1, attacks.size() - 1);
                if (!sounds_on(notes[i], notes[attacks[over].first], notes[attacks[then].first])) break;
                ++over;
                end = over < attacks.size() ? attacks[over].ticks : lengths.end_of(notes[i], attack.ticks, last);
            }
            ends.push_back(end);
        }
        slices.add(attack, ends, next);
    }
    return slices.take();
}

} // namespace

bool in_threes(BarMeter meter) { return meter.unit >= 3 && meter.beats % 3 == 0; }

Ticks beat_of(BarMeter meter)
{
    const Ticks unit = ticks_a_quarter * 4 >> meter.unit;
    if (in_threes(meter)) return unit * 3;
    return std::min(unit, ticks_a_quarter);
}

Rhythm rhythm_of(std::span<const PlayedNote> notes, std::span<const Bar> bars)
{
    std::vector<Attack> attacks = attacks_of(notes);
    const std::vector<Beat> each = beats_of(bars, attacks);
    auto [beats, parts] = Dividing(each, attacks).divided();
    Rhythm rhythm;
    for (std::size_t i = 0; i < beats.size(); ++i) {
        parts[i] = put_on(beats[i], attacks, parts[i]);
        const int usual = beats[i].threes ? 3 : 2;
        if (parts[i] > 1 && parts[i] % usual != 0) rhythm.tuplets.push_back({beats[i].begin, beats[i].length, parts[i]});
        if (!beats[i].threes && parts[i] % 3 == 0 && parts[i] % usual == 0)
            rhythm.tuplets.push_back({beats[i].begin, beats[i].length, parts[i]});
    }
    part_the_squeezed(attacks, notes);
    rhythm.segments = segments_of(notes, attacks, beats, parts);
    return rhythm;
}

} // namespace bowarm::part
