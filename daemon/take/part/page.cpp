#include "take/part/page.hpp"

#include "take/part/cues.hpp"
#include "take/part/rhythm.hpp"
#include "take/part/spelling.hpp"
#include "take/part/written_bar.hpp"
#include "take/part/xml_text.hpp"

#include <algorithm>
#include <array>
#include <map>

namespace bowarm::part
{
namespace
{

constexpr std::string_view begin_of_document =
    "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"no\"?>\n"
    "<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\">";

// Bar lines that keep an accidental in force: step and octave, and what it is altered by.
using Accidentals = std::map<std::pair<char, int>, int>;

std::string_view accidental_word(int alter)
{
    constexpr std::array<std::string_view, 5> words{"flat-flat", "flat", "natural", "sharp", "double-sharp"};
    return words[static_cast<std::size_t>(std::clamp(alter, -2, 2) + 2)];
}

std::string rehearsal_letter(std::size_t number)
{
    const std::string letter(1, static_cast<char>('A' + number % 26));
    return number < 26 ? letter : letter + letter;
}

// A bar with an upbeat: it is shorter than the meter that follows it.
bool is_upbeat(const std::vector<Bar>& bars) { return bars.size() > 1 && bars[1].new_meter && bars[0].length < bars[1].length; }

class PartWriter
{
public:
    PartWriter(const Page& page, const Voice& voice, XmlText& xml)
        : page_(page), voice_(voice), xml_(xml), filler_(voice.segments, voice.tuplets), cue_filler_(page.cue.segments, page.cue.tuplets)
    {
        for (const Bar& bar : page.bars) {
            bars_.push_back(filler_.fill(bar));
            cue_bars_.push_back(cue_filler_.fill(bar));
        }
        key_of_bar_.resize(page.bars.size());
        for (const KeyFrom& from : page.keys)
            std::fill(key_of_bar_.begin() + static_cast<std::ptrdiff_t>(from.bar), key_of_bar_.end(), from.key);
        std::vector<bool> silent;
        for (const WrittenBar& bar : bars_) silent.push_back(bar.written.empty());
        cued_ = bars_with_cues(silent);
        for (std::size_t i = 0; i < cued_.size(); ++i) cued_[i] = cued_[i] && !cue_bars_[i].written.empty();
    }

    void write(std::string_view id)
    {
        xml_.open("part", {{"id", id}});
        for (std::size_t i = 0; i < page_.bars.size(); ++i) write_bar(i);
        xml_.close();
    }

private:
    bool rests(std::size_t i) const { return bars_[i].written.empty() && !cued_[i]; }
    std::int32_t printed_number(std::size_t i) const { return page_.first_bar + static_cast<std::int32_t>(i); }

    std::optional<std::size_t> rehearsal_at(std::size_t i) const
    {
        const auto found = std::find(page_.rehearsal.begin(), page_.rehearsal.end(), printed_number(i));
        if (found == page_.rehearsal.end()) return std::nullopt;
        return static_cast<std::size_t>(found - page_.rehearsal.begin());
    }

    bool new_attributes(std::size_t i) const
    {
        return i > 0 && (page_.bars[i].new_meter || rehearsal_at(i) || clef_at(i) != clef_at(i - 1) || new_key(i) || tempo_in(i));
    }
    bool new_key(std::size_t i) const { return i == 0 || !(key_of_bar_[i] == key_of_bar_[i - 1]); }
    bool tempo_in(std::size_t i) const
    {
        const Bar& bar = page_.bars[i];
        return std::any_of(page_.tempos.begin(), page_.tempos.end(), [&](const TempoMark& mark) {
            const Ticks at = ticks_of(mark);
            return at >= bar.begin && at < bar.end();
        });
    }
    static Ticks ticks_of(const TempoMark& mark) { return static_cast<Ticks>(mark.quarters * static_cast<double>(ticks_a_quarter) + 0.5); }
    Clef clef_at(std::size_t i) const { return voice_.clefs[i]; }

    // How many bars from here on are one long rest; below 2: none begins.
    std::size_t bars_of_rest(std::size_t i) const
    {
        std::size_t n = i;
        while (n < bars_.size() && rests(n) && (n == i || !new_attributes(n))) ++n;
        return n - i;
    }

    void write_bar(std::size_t i)
    {
        const Bar& bar = page_.bars[i];
        const std::string number = std::to_string(printed_number(i));
        if (i == 0 && is_upbeat(page_.bars))
            xml_.open("measure", {{"number", number}, {"implicit", "yes"}});
        else
            xml_.open("measure", {{"number", number}});
        bar_ = i;
        write_attributes(i);
        write_tempos_until(bar.begin + 1, bar.begin);
        if (i == 0)
            for (const std::string& words : page_.words) write_words(words);
        if (const auto letter = rehearsal_at(i)) {
            direction_begins("above");
            xml_.text("rehearsal", rehearsal_letter(*letter));
            direction_ends(0);
        }
        accidentals_.clear();
        if (cued_[i])
            write_cue(i);
        else if (bars_[i].written.empty())
            write_rest_of(bar);
        else
            write_notes(bars_[i], voice_);
        write_dynamics_until(bar.end(), bar.end());
        write_tempos_until(bar.end(), bar.end());
        if (i + 1 == page_.bars.size()) {
            xml_.open("barline", {{"location", "right"}});
            xml_.text("bar-style", "light-heavy");
            xml_.close();
        }
        xml_.close();
    }

    void write_attributes(std::size_t i)
    {
        const bool meter = page_.bars[i].new_meter && !(i == 1 && is_upbeat(page_.bars));
        const bool clef = i == 0 || clef_at(i) != clef_at(i - 1);
        const bool after_rest = rest_until_ > i;
        const std::size_t resting = after_rest ? 0 : bars_of_rest(i);
        if (resting > 1) rest_until_ = i + resting;
        const bool key = new_key(i);
        if (!meter && !clef && !key && resting < 2) return;
        xml_.open("attributes");
        if (i == 0) xml_.number("divisions", ticks_a_quarter);
        if (key) {
            xml_.open("key");
            xml_.number("fifths", key_of_bar_[i].sharps);
            xml_.text("mode", key_of_bar_[i].minor ? "minor" : "major");
            xml_.close();
        }
        if (meter) {
            const BarMeter shown = i == 0 && is_upbeat(page_.bars) ? page_.bars[1].meter : page_.bars[i].meter;
            xml_.open("time");
            xml_.number("beats", shown.beats);
            xml_.number("beat-type", 1 << shown.unit);
            xml_.close();
        }
        if (clef) {
            const ClefSign sign = clef_sign(clef_at(i));
            xml_.open("clef");
            xml_.text("sign", std::string_view{&sign.sign, 1});
            xml_.number("line", sign.line);
            xml_.close();
        }
        if (i == 0 && voice_.octave != 0) {
            xml_.open("transpose");
            xml_.number("diatonic", 0);
            xml_.number("chromatic", 0);
            xml_.number("octave-change", -voice_.octave / 12);
            xml_.close();
        }
        if (resting > 1) {
            xml_.open("measure-style");
            xml_.number("multiple-rest", static_cast<std::int64_t>(resting));
            xml_.close();
        }
        xml_.close();
    }

    // Metronome marks that begin before `until`; what is already behind us stands at `now`.
    void write_tempos_until(Ticks until, Ticks now)
    {
        for (; next_tempo_ < page_.tempos.size() && ticks_of(page_.tempos[next_tempo_]) < until; ++next_tempo_) {
            const bool dotted = in_threes(page_.bars[bar_].meter);
            const double rate = page_.tempos[next_tempo_].quarters_a_minute / (dotted ? 1.5 : 1);
            direction_begins("above");
            xml_.open("metronome");
            xml_.text("beat-unit", "quarter");
            if (dotted) xml_.empty("beat-unit-dot");
            xml_.number("per-minute", static_cast<std::int64_t>(rate + 0.5));
            xml_.close();
            direction_ends(ticks_of(page_.tempos[next_tempo_]) - now);
        }
    }

    void direction_begins(std::string_view placement)
    {
        xml_.open("direction", {{"placement", placement}});
        xml_.open("direction-type");
    }

    void direction_ends(Ticks offset)
    {
        xml_.close();
        if (offset != 0) xml_.number("offset", offset);
        xml_.close();
    }

    void write_words(std::string_view words)
    {
        direction_begins("above");
        xml_.text("words", words, {{"font-style", "italic"}});
        direction_ends(0);
    }

    // Dynamics that begin before `until`; what is already behind us stands at `now`.
    void write_dynamics_until(Ticks until, Ticks now)
    {
        const auto& dynamics = voice_.dynamics;
        for (; next_dynamic_ < dynamics.size() && dynamics[next_dynamic_].at < until; ++next_dynamic_) {
            const Dynamic& d = dynamics[next_dynamic_];
            direction_begins("below");
            if (d.kind == DynamicKind::level) {
                xml_.open("dynamics");
                xml_.empty(dynamic_word(d.level));
                xml_.close();
            } else {
                xml_.empty("wedge", {{"type", d.kind == DynamicKind::crescendo    ? "crescendo"
                                              : d.kind == DynamicKind::diminuendo ? "diminuendo"
                                                                                  : "stop"}});
            }
            direction_ends(d.at - now);
        }
    }

    void write_rest_of(const Bar& bar)
    {
        xml_.open("note");
        xml_.empty("rest", {{"measure", "yes"}});
        xml_.number("duration", bar.length);
        xml_.text("voice", "1");
        xml_.close();
    }

    void write_cue(std::size_t i)
    {
        write_words("(" + page_.cue_name + ")");
        cue_octave_ = cue_octave(i);
        write_notes(cue_bars_[i], page_.cue);
    }

    void write_notes(const WrittenBar& bar, const Voice& voice)
    {
        for (const Written& w : bar.written) {
            const bool own = &voice == &voice_;
            if (own) write_dynamics_until(w.value.begin + std::max<Ticks>(w.value.length, 1), w.value.begin);
            if (own) write_tempos_until(w.value.begin + std::max<Ticks>(w.value.length, 1), w.value.begin);
            if (!w.segment) {
                write_rest(w, !own);
                continue;
            }
            const Segment& segment = voice.segments[*w.segment];
            if (own && w.first)
                for (const std::string& words : voice.marks[*w.segment].words) write_words(words);
            for (std::size_t h = 0; h < segment.heads.size(); ++h) write_head_of(w, segment, h, voice, !own);
        }
    }

    void write_rest(const Written& w, bool cue)
    {
        xml_.open("note");
        if (cue) xml_.empty("cue");
        xml_.empty("rest");
        xml_.number("duration", w.value.length);
        xml_.text("voice", "1");
        write_value(w.value);
        write_modification(w.value);
        if (w.value.tuplet_begins || w.value.tuplet_ends) {
            xml_.open("notations");
            write_tuplet(w.value);
            xml_.close();
        }
        xml_.close();
    }

    void write_value(const NoteValue& value)
    {
        xml_.text("type", value_word(value.power));
        for (int d = 0; d < value.dots; ++d) xml_.empty("dot");
    }

    void write_modification(const NoteValue& value)
    {
        if (value.actual == 0) return;
        xml_.open("time-modification");
        xml_.number("actual-notes", value.actual);
        xml_.number("normal-notes", value.normal);
        xml_.text("normal-type", value_word(value.normal_power));
        xml_.close();
    }

    void write_head_of(const Written& w, const Segment& segment, std::size_t index, const Voice& voice, bool cue)
    {
        const Head& head = segment.heads[index];
        const bool from = !w.grace && (!w.first || head.tied_from);
        const bool on = !w.grace && (!w.last || head.tied_on);
        const int octave = cue ? cue_octave_ : voice_.octave;
        const Spelled name = spelled(std::clamp(voice.notes[head.played].told.pitch + octave, 0, 127), key_of_bar_[bar_]);
        xml_.open("note");
        if (w.grace) xml_.empty("grace", {{"slash", "yes"}});
        if (cue && !w.grace) xml_.empty("cue");
        if (index > 0) xml_.empty("chord");
        write_pitch(name);
        if (!w.grace) xml_.number("duration", w.value.length);
        if (!cue && from) xml_.empty("tie", {{"type", "stop"}});
        if (!cue && on) xml_.empty("tie", {{"type", "start"}});
        xml_.text("voice", "1");
        write_value(w.value);
        write_accidental(name, from);
        write_modification(w.value);
        if (index == 0)
            for (std::size_t level = 0; level < w.beams.size(); ++level)
                xml_.text("beam", w.beams[level],
                          {{"number", level == 0   ? "1"
                                      : level == 1 ? "2"
                                      : level == 2 ? "3"
                                      : level == 3 ? "4"
                                                   : "5"}});
        write_notations(w, segment, index, from, on, cue);
        xml_.close();
    }

    void write_pitch(const Spelled& name)
    {
        xml_.open("pitch");
        xml_.text("step", std::string_view{&name.step, 1});
        if (name.alter != 0) xml_.number("alter", name.alter);
        xml_.number("octave", name.octave);
        xml_.close();
    }

    void write_accidental(const Spelled& name, bool tied_from)
    {
        const auto key = std::pair{name.step, name.octave};
        const auto found = accidentals_.find(key);
        const int in_force = found != accidentals_.end() ? found->second : signature_alter(name.step, key_of_bar_[bar_]);
        if (tied_from || in_force == name.alter) return;
        accidentals_[key] = name.alter;
        xml_.text("accidental", accidental_word(name.alter));
    }

    void write_tuplet(const NoteValue& value)
    {
        if (value.tuplet_begins) xml_.empty("tuplet", {{"type", "start"}, {"number", "1"}, {"bracket", "yes"}});
        if (value.tuplet_ends) xml_.empty("tuplet", {{"type", "stop"}, {"number", "1"}});
    }

    void write_notations(const Written& w, const Segment& segment, std::size_t index, bool from, bool on, bool cue)
    {
        const bool tuplet = index == 0 && (w.value.tuplet_begins || w.value.tuplet_ends);
        static const Marks none;
        const Marks& marks = cue ? none : voice_.marks[*w.segment];
        const bool signs = index == 0 && !cue;
        const bool slur_begins = signs && w.first && marks.slur_begins;
        const bool slur_ends = signs && w.last && marks.slur_ends;
        const bool first = signs && w.first && segment.new_attack();
        const bool ornaments = signs && (segment.tremolo > 0 || (segment.trill && w.first));
        const bool bow = signs && w.first && marks.bow;
        const bool technical = bow || (first && (marks.snap || marks.left_hand || marks.harmonic || marks.artificial_harmonic));
        const bool comma = signs && w.last && marks.comma;
        const bool articulations = comma || (first && (marks.dot || marks.line || marks.wedge || marks.accent));
        if (!tuplet && !slur_begins && !slur_ends && !ornaments && !technical && !articulations && (cue || (!from && !on))) return;
        xml_.open("notations");
        if (!cue && from) xml_.empty("tied", {{"type", "stop"}});
        if (!cue && on) xml_.empty("tied", {{"type", "start"}});
        if (slur_ends) xml_.empty("slur", {{"type", "stop"}, {"number", "1"}});
        if (slur_begins) xml_.empty("slur", {{"type", "start"}, {"number", "1"}});
        if (tuplet) write_tuplet(w.value);
        if (ornaments) write_ornaments(segment, w.first);
        if (technical) write_technical(marks);
        if (articulations) write_articulations(marks, first, comma);
        xml_.close();
    }

    void write_ornaments(const Segment& segment, bool first)
    {
        xml_.open("ornaments");
        if (segment.trill && first) xml_.empty("trill-mark");
        if (segment.tremolo > 0) xml_.text("tremolo", std::to_string(segment.tremolo), {{"type", "single"}});
        xml_.close();
    }

    void write_technical(const Marks& marks)
    {
        xml_.open("technical");
        if (marks.bow) xml_.empty(*marks.bow == Direction::down ? "down-bow" : "up-bow");
        if (marks.snap) xml_.empty("snap-pizzicato");
        if (marks.left_hand) xml_.empty("stopped");
        if (marks.harmonic || marks.artificial_harmonic) {
            xml_.open("harmonic");
            xml_.empty(marks.harmonic ? "natural" : "artificial");
            xml_.empty("sounding-pitch");
            xml_.close();
        }
        xml_.close();
    }

    void write_articulations(const Marks& marks, bool first, bool comma)
    {
        xml_.open("articulations");
        if (first && marks.accent) xml_.empty("accent");
        if (first && marks.dot) xml_.empty("staccato");
        if (first && marks.line) xml_.empty("tenuto");
        if (first && marks.wedge) xml_.empty("staccatissimo");
        if (comma) xml_.text("breath-mark", "comma");
        xml_.close();
    }

    // Cues are read in this part's clef: moved by octaves to where the bar's notes lie.
    int cue_octave(std::size_t bar) const
    {
        constexpr std::array<int, 4> middle_lines{71, 60, 57, 50}; // treble, alto, tenor, bass
        double sum = 0, count = 0;
        for (const Written& w : cue_bars_[bar].written) {
            if (!w.segment) continue;
            sum += page_.cue.notes[page_.cue.segments[*w.segment].lead()].told.pitch;
            ++count;
        }
        if (count == 0) return 0;
        const int middle = middle_lines[static_cast<std::size_t>(clef_at(bar))];
        int octave = 0;
        while (sum / count + octave > middle + 7) octave -= 12;
        while (sum / count + octave < middle - 7) octave += 12;
        return octave;
    }

    const Page& page_;
    const Voice& voice_;
    XmlText& xml_;
    BarFiller filler_, cue_filler_;
    std::vector<WrittenBar> bars_, cue_bars_;
    std::vector<bool> cued_;
    std::vector<KeyChange> key_of_bar_;
    Accidentals accidentals_;
    std::size_t bar_{0}; // that is being written
    std::size_t next_dynamic_{0}, next_tempo_{0};
    std::size_t rest_until_{0};
    int cue_octave_{0}; // semitones
};

std::string part_id(std::size_t i) { return std::string{"P"}.append(std::to_string(i + 1)); }

void write_part_list(const Page& page, XmlText& xml)
{
    xml.open("part-list");
    for (std::size_t i = 0; i < page.voices.size(); ++i) {
        xml.open("score-part", {{"id", part_id(i)}});
        xml.text("part-name", page.voices[i].name);
        xml.close();
    }
    xml.close();
}

} // namespace

std::string page_xml(const Page& page)
{
    XmlText xml;
    xml.line(begin_of_document);
    xml.open("score-partwise", {{"version", "4.0"}});
    if (!page.title.empty()) {
        xml.open("work");
        xml.text("work-title", page.title);
        xml.close();
    }
    xml.open("identification");
    xml.open("encoding");
    xml.text("software", "bowarm");
    xml.close();
    xml.close();
    write_part_list(page, xml);
    for (std::size_t i = 0; i < page.voices.size(); ++i) PartWriter(page, page.voices[i], xml).write(part_id(i));
    xml.close();
    return xml.take();
}

} // namespace bowarm::part
