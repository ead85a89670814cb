#include "take/obedience.hpp"

#include "take/decimal.hpp"

#include <algorithm>
#include <map>

namespace bowarm
{
namespace
{

constexpr double near_enough = 0.25; // of a beat
// A note that joins a stroke later than any chord window does is no beginning of it.
constexpr Seconds begins_together{0.1};

// A note as it was heard, and the stroke that it begins or helps to begin.
struct Heard {
    std::uint32_t note{0};
    Time at;
    BarPlace place;
    int beats{0}; // in its bar; 0: unknown
    bool plucked{false};
    std::optional<std::uint32_t> begins; // the first note of the stroke
};

using NoteFacts = std::map<std::uint32_t, std::vector<Fact>>;

NoteFacts note_facts(const Recorder& take)
{
    NoteFacts facts;
    for (const Fact& f : take.facts())
        if (f.kind == FactKind::note_began) facts[f.note].push_back(f);
    return facts;
}

// Told again as slurred, a note has been returned to; its beginning is the last word that calls it a beginning.
const Fact* beginning_in(const std::vector<Fact>& told)
{
    const Fact* found = nullptr;
    for (const Fact& f : told)
        if (!f.slurred && !f.plucked) found = &f;
    return found;
}

// The beats of the bar at moments that never run backwards.
class BeatsInBar
{
public:
    BeatsInBar(const Recorder& take, int usual) : inputs_(take.inputs()), beats_(usual) {}
    int at(Time t)
    {
        for (; next_ < inputs_.size() && inputs_[next_].at <= t; ++next_) {
            const Input& input = inputs_[next_];
            if (input.kind == InputKind::meter && input.data[0] > 0) beats_ = input.data[0];
        }
        return beats_;
    }

private:
    const std::vector<Input>& inputs_;
    int beats_;
    std::size_t next_{0};
};

std::vector<Heard> heard_in(const Recorder& take, std::uint8_t usual_beats)
{
    const NoteFacts facts = note_facts(take);
    std::map<std::uint32_t, const Decision*> by_stroke;
    for (const Decision& d : take.decisions()) {
        const auto told = facts.find(d.note);
        const Fact* began = told == facts.end() ? nullptr : beginning_in(told->second);
        if (began != nullptr) by_stroke.emplace(began->stroke, &d);
    }
    std::vector<Heard> heard;
    BeatsInBar beats(take, usual_beats);
    for (const auto& [note, told] : facts) {
        const Fact& first = told.front();
        Heard h{note, first.at, first.place, beats.at(first.at), first.plucked, {}};
        const Fact* began = beginning_in(told);
        const auto stroke = began == nullptr ? by_stroke.end() : by_stroke.find(began->stroke);
        if (stroke != by_stroke.end() && to_seconds(first.at - stroke->second->at) <= begins_together) h.begins = stroke->second->note;
        heard.push_back(h);
    }
    return heard;
}

// In beats; empty: in another bar, or nobody knows.
std::optional<double> distance(const Heard& note, const Wish& wish)
{
    const double off = note.place.beat - wish.beat;
    const bool bar_known = note.beats > 0;
    if (bar_known && wish.beat >= note.beats + 1) return std::nullopt; // the bar has no such beat
    double apart = off;
    if (note.place.bar == wish.bar - 1 && bar_known)
        apart = off - note.beats;
    else if (note.place.bar == wish.bar + 1 && bar_known)
        apart = off + note.beats;
    else if (note.place.bar != wish.bar || wish.bar == 0)
        return std::nullopt;
    return apart < 0 ? -apart : apart;
}

const Heard* nearest_to(const std::vector<Heard>& heard, const Wish& wish)
{
    const Heard* best = nullptr;
    double best_distance = near_enough;
    for (const Heard& h : heard) {
        const auto apart = distance(h, wish);
        if (!apart || *apart > best_distance) continue;
        const bool nearer = best == nullptr || *apart < best_distance;
        if (!nearer && (best->begins || !h.begins)) continue;
        best = &h;
        best_distance = *apart;
    }
    return best;
}

const Heard* numbered(const std::vector<Heard>& heard, std::uint32_t note)
{
    const auto found = std::lower_bound(heard.begin(), heard.end(), note, [](const Heard& h, std::uint32_t n) { return h.note < n; });
    return found != heard.end() && found->note == note ? &*found : nullptr;
}

std::string nobody_there(const std::vector<Heard>& heard, const Wish& wish)
{
    if (wish.note)
        return "no note " + std::to_string(*wish.note) + " was bowed: it is not there, a control key, out of range, or played in bypass";
    const bool bars_known = std::any_of(heard.begin(), heard.end(), [](const Heard& h) { return h.place.bar > 0; });
    if (!bars_known) return "bars are unknown: the file lacks a time signature or a tempo; name the note by its number";
    return "no note begins at " + std::to_string(wish.bar) + ":" + decimal_text(wish.beat, 4);
}

std::variant<std::uint32_t, std::string> stroke_meant(const std::vector<Heard>& heard, const Wish& wish)
{
    const Heard* note = wish.note ? numbered(heard, *wish.note) : nearest_to(heard, wish);
    if (note == nullptr) return nobody_there(heard, wish);
    if (note->begins) return *note->begins;
    if (note->plucked) return "the note is plucked";
    return "the note is slurred to the one before; let go of that key first, and the note gets a stroke of its own";
}

bool contradict(const WishedStroke& stroke, const Wish& wish)
{
    if (stroke.same_bow != wish.same_bow) return true;
    return stroke.direction && wish.direction && *stroke.direction != *wish.direction;
}

void add(WishedStroke& stroke, const Wish& wish)
{
    if (wish.direction) stroke.direction = wish.direction;
    stroke.retake = stroke.retake || wish.retake;
    stroke.same_bow = stroke.same_bow || wish.same_bow;
}

std::string no_hair_towards(Direction direction)
{
    return std::string{"the bow is at the "} + (direction == Direction::down ? "tip" : "frog") + " and has no hair left that way" +
           ", nor time to lift";
}

// Empty: it was obeyed.
std::string refusal(const Instrument& instrument, const Wish& wish, const Decision& d)
{
    const ChoiceNeeds& n = d.needs;
    if (n.first && wish.same_bow) return "it is the first stroke, there is no bow before it";
    if (n.first && wish.retake) return "it is the first stroke, the bow is set down there in any case";
    if (wish.same_bow && d.direction != n.last) return no_hair_towards(n.last);
    if (wish.direction && d.direction != *wish.direction) return no_hair_towards(*wish.direction);
    if (!wish.retake || d.retake) return {};
    const Seconds too_short = choose(instrument, n).retake_short;
    if (too_short > Seconds{0}) return "the rest before it is too short by " + decimal_text(too_short.value, 2) + " s";
    return "nowhere on the hair is there room for this stroke";
}

} // namespace

std::variant<Meant, Contradiction> strokes_meant(std::span<const Wish> wishes, const Recorder& live, std::uint8_t usual_beats,
                                                 bool first_wins)
{
    const std::vector<Heard> heard = heard_in(live, usual_beats);
    struct Asked {
        WishedStroke stroke;
        std::vector<const Wish*> by;
    };
    std::map<std::uint32_t, Asked> asked;
    Meant meant;
    for (const Wish& wish : wishes) {
        meant.strokes.push_back(stroke_meant(heard, wish));
        const auto* note = std::get_if<std::uint32_t>(&meant.strokes.back());
        if (note == nullptr) continue;
        Asked& place = asked[*note];
        const auto against = std::find_if(place.by.begin(), place.by.end(), [&](const Wish* before) {
            return contradict({*note, before->direction, before->retake, before->same_bow}, wish);
        });
        if (against != place.by.end()) {
            if (!first_wins) return Contradiction{wish.line, (*against)->line};
            meant.strokes.back() = "line " + std::to_string((*against)->line) + " means the same stroke and says otherwise";
            continue;
        }
        place.stroke.note = *note;
        add(place.stroke, wish);
        place.by.push_back(&wish);
    }
    for (const auto& [note, place] : asked) meant.wished.push_back(place.stroke);
    return meant;
}

std::vector<WishOutcome> outcomes_of(const Instrument& instrument, std::span<const Wish> wishes, const Meant& meant, const Recorder& bowed)
{
    std::map<std::uint32_t, const Decision*> decisions;
    for (const Decision& d : bowed.decisions()) decisions[d.note] = &d;
    std::vector<WishOutcome> outcomes;
    for (std::size_t i = 0; i < wishes.size(); ++i) {
        WishOutcome outcome{wishes[i].line, wish_text(wishes[i]), {}};
        if (const auto* reason = std::get_if<std::string>(&meant.strokes[i])) {
            outcome.refused = *reason;
        } else {
            const auto found = decisions.find(std::get<std::uint32_t>(meant.strokes[i]));
            outcome.refused = found == decisions.end() ? "with the other wishes obeyed, no stroke begins there any more"
                                                       : refusal(instrument, wishes[i], *found->second);
        }
        outcomes.push_back(std::move(outcome));
    }
    return outcomes;
}

} // namespace bowarm
