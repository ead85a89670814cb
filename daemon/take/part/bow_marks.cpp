#include "take/part/bow_marks.hpp"

#include <algorithm>
#include <utility>

namespace bowarm::part
{
namespace
{

constexpr double accented = 1.28;                 // velocity over the running average
constexpr double shortened = 0.6;                 // of its written length, and it has a dot
constexpr int accented_at_least = 18;             // and by so much
constexpr Ticks hooks_within = ticks_a_quarter;   // a rest under a slur is shorter; after a longer one a mark is plainer
constexpr Ticks rest_lifts = 4 * ticks_a_quarter; // nobody has to be told to lift in a rest as long as this
constexpr Ticks word_is_known = 64 * ticks_a_quarter;
constexpr std::size_t worth_a_word = 3; // notes in a row whose technique was only read from the playing

// What stands above the notes while this technique lasts; empty: nothing.
std::string technique_words(Technique technique)
{
    switch (technique) {
    case Technique::spiccato:
        return "spiccato";
    case Technique::sautille:
        return "sautill\xC3\xA9";
    case Technique::ricochet:
        return "ricochet";
    case Technique::flautando:
        return "flautando";
    case Technique::martele:
        return "martel\xC3\xA9";
    case Technique::col_legno_battuto:
        return "col legno battuto";
    case Technique::col_legno_tratto:
        return "col legno tratto";
    default:
        return {};
    }
}

// Its word has to be taken back.
bool lasts_until_told(Technique technique)
{
    return technique == Technique::flautando || technique == Technique::col_legno_battuto || technique == Technique::col_legno_tratto;
}

class Marking
{
public:
    Marking(std::span<const Segment> segments, std::span<const PlayedNote> notes)
        : segments_(segments), notes_(notes), marks_(segments.size()), on_bow_of_before_(segments.size(), false)
    {
    }

    std::vector<Marks> marks()
    {
        put_slurs();
        put_bows();
        for (std::size_t i = 0; i < segments_.size(); ++i)
            if (segments_[i].new_attack()) put_signs(i);
        put_words();
        return std::move(marks_);
    }

private:
    const PlayedNote& lead(std::size_t i) const { return notes_[segments_[i].lead()]; }
    bool attack(std::size_t i) const { return segments_[i].new_attack(); }
    bool turned(std::size_t i) const { return segments_[i].turn.has_value(); }
    bool bowed(std::size_t i) const { return (attack(i) || turned(i)) && lead(i).bowed(); }
    std::uint32_t stroke(std::size_t i) const { return turned(i) ? segments_[i].turn->stroke : lead(i).told.stroke; }
    Direction direction(std::size_t i) const { return turned(i) ? segments_[i].turn->direction : lead(i).direction; }

    void put_slurs()
    {
        std::optional<std::size_t> first, last;
        const auto close = [&] {
            if (first && last && *first != *last) {
                marks_[*first].slur_begins = true;
                marks_[*last].slur_ends = true;
            }
            first = last = std::nullopt;
        };
        for (std::size_t i = 0; i < segments_.size(); ++i) {
            if (!attack(i) && !turned(i)) continue;
            if (!last || !joins(i, *last)) close();
            if (!bowed(i)) continue;
            on_bow_of_before_[i] = last.has_value();
            if (!first) first = i;
            last = i;
        }
        close();
    }

    // On the bow of the note before: slurred, or hooked onto it.
    bool joins(std::size_t i, std::size_t before) const
    {
        if (!bowed(i)) return false;
        const PlayedNote& note = lead(i);
        if (stroke(i) == stroke(before)) return true;
        const Ticks rest = segments_[i].begin - segments_[before].end;
        return !turned(i) && note.told.hooked && note.direction == direction(before) && rest < hooks_within;
    }

    void put_bows()
    {
        bool counts_on = false; // the player knows where the bow goes next
        Direction before = Direction::down;
        std::optional<std::size_t> last; // bowed
        Ticks sounded_until = 0;
        for (std::size_t i = 0; i < segments_.size(); ++i) {
            const Ticks rest = segments_[i].begin - sounded_until;
            if (rest >= rest_forgets) counts_on = false;
            sounded_until = std::max(sounded_until, segments_[i].end);
            if (!attack(i) && !turned(i)) continue;
            if (!bowed(i)) {
                counts_on = false;
                last.reset();
                continue;
            }
            const bool retake = lead(i).retake && attack(i);
            const std::optional<std::size_t> from = std::exchange(last, i);
            if (on_bow_of_before_[i] && counts_on) continue;
            if (from && retake && rest < rest_lifts && direction(i) == before) marks_[*from].comma = true;
            const bool after_grace = i > 0 && segments_[i - 1].grace; // of its own bow, which nobody would expect
            if (!counts_on || after_grace || turned(i) || direction(i) == before) marks_[i].bow = direction(i);
            before = direction(i);
            counts_on = segments_[i].tremolo == 0;
        }
    }

    void put_signs(std::size_t i)
    {
        const Fact& told = lead(i).told;
        Marks& m = marks_[i];
        switch (told.technique) {
        case Technique::staccato:
        case Technique::spiccato:
        case Technique::sautille:
        case Technique::ricochet:
            m.dot = true;
            break;
        case Technique::portato:
            m.line = true;
            break;
        case Technique::martele:
            m.wedge = true;
            break;
        case Technique::marcato:
            m.accent = true;
            break;
        case Technique::snap_pizzicato:
            m.snap = true;
            break;
        case Technique::left_hand_pizzicato:
            m.left_hand = true;
            break;
        case Technique::harmonic:
            m.harmonic = true;
            break;
        case Technique::artificial_harmonic:
            m.artificial_harmonic = true;
            break;
        default:
            break;
        }
        if (sounds_short(i)) m.dot = true;
        if (told.hooked && on_bow_of_before_[i] && !turns_later(i)) m.dot = true;
        if (struck_harder(told.velocity) && bowed(i) && !segments_[i].grace) m.accent = true;
    }

    // It is so long that the bow changes under it: no dot stands there.
    bool turns_later(std::size_t i) const { return i + 1 < segments_.size() && turned(i + 1) && !attack(i + 1); }

    // A separate note that was let go early, whatever it was read as.
    bool sounds_short(std::size_t i) const
    {
        const Marks& m = marks_[i];
        const Ticks length = segments_[i].end - segments_[i].begin;
        if (!bowed(i) || m.line || m.wedge || on_bow_of_before_[i] || m.slur_begins || segments_[i].grace || segments_[i].tremolo > 0)
            return false;
        const double sounds = (lead(i).release - lead(i).onset) * static_cast<double>(ticks_a_quarter);
        return length <= ticks_a_quarter && sounds < shortened * static_cast<double>(length);
    }

    bool struck_harder(int velocity)
    {
        const bool harder =
            usual_velocity_ > 0 && velocity >= usual_velocity_ * accented && velocity >= usual_velocity_ + accented_at_least;
        usual_velocity_ = usual_velocity_ > 0 ? 0.85 * usual_velocity_ + 0.15 * velocity : velocity;
        return harder;
    }

    // Its word stands a few lines above, and nothing since has taken it back.
    bool still_known(Technique technique, Ticks now)
    {
        const bool known = said_ == technique && !lasts_until_told(technique) && now - said_at_ < word_is_known;
        said_ = technique;
        said_at_ = now;
        return known;
    }

    std::size_t run_of_technique(std::size_t i) const
    {
        std::size_t run = 0;
        for (std::size_t n = i; n < segments_.size() && run < worth_a_word; ++n) {
            if (!attack(n)) continue;
            if (lead(n).told.technique != lead(i).told.technique) break;
            ++run;
        }
        return run;
    }

    void put_words()
    {
        bool plucked = false, muted = false, divided = false;
        ContactZone zone = ContactZone::ordinary;
        Technique word_of = Technique::detache;
        for (std::size_t i = 0; i < segments_.size(); ++i) {
            if (!attack(i)) continue;
            const PlayedNote& note = lead(i);
            const Fact& told = note.told;
            std::vector<std::string>& words = marks_[i].words;
            const bool plucks = (is_plucked(told.technique) || told.plucked) && told.technique != Technique::left_hand_pizzicato;
            if (plucks != plucked) words.push_back(plucks ? "pizz." : "arco");
            plucked = plucks;
            if (told.muted != muted) words.push_back(told.muted ? "con sord." : "senza sord.");
            muted = told.muted;
            const bool says_all = !words.empty() || !technique_words(told.technique).empty();
            if (!plucks && told.zone != zone) {
                const bool back = told.zone == ContactZone::ordinary;
                if (!back) words.push_back(told.zone == ContactZone::sul_ponticello ? "sul pont." : "sul tasto");
                if (back && !says_all) words.push_back("ord.");
                zone = told.zone;
            }
            if (told.technique != word_of && !plucks) {
                const std::string word = technique_words(told.technique);
                const bool sure = !told.read || run_of_technique(i) >= worth_a_word;
                if (!says_all && lasts_until_told(word_of)) words.push_back("ord.");
                if (!word.empty() && sure && !still_known(told.technique, segments_[i].begin)) words.push_back(word);
                if (word.empty() || sure) word_of = told.technique;
            }
            const bool divides = std::any_of(segments_[i].heads.begin(), segments_[i].heads.end(),
                                             [&](const Head& head) { return notes_[head.played].told.unplayable != Unplayable::no; });
            if (divides && !divided) words.push_back("div.");
            if (!divides && divided) words.push_back("unis.");
            divided = divides;
        }
    }

    std::span<const Segment> segments_;
    std::span<const PlayedNote> notes_;
    std::vector<Marks> marks_;
    std::vector<bool> on_bow_of_before_;
    double usual_velocity_{0};
    std::optional<Technique> said_; // the last word that was written, and when it was meant last
    Ticks said_at_{0};
};

} // namespace

std::vector<Marks> marks_of(std::span<const Segment> segments, std::span<const PlayedNote> notes)
{
    return Marking(segments, notes).marks();
}

} // namespace bowarm::part
