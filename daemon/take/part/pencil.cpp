#include "take/part/pencil.hpp"

#include "take/part/bow_marks.hpp"
#include "take/part/xml_reader.hpp"

#include <algorithm>
#include <charconv>

namespace bowarm::part
{
namespace
{

constexpr double rest_forgets_quarters = static_cast<double>(rest_forgets) / static_cast<double>(ticks_a_quarter);
constexpr std::int64_t divisions_at_most = 100'000;
constexpr double quarters_at_most = 1e6;
constexpr std::int32_t bars_at_most = 1'000'000;
constexpr int staves_at_most = 1000;
constexpr std::size_t voices_at_most = 64;
constexpr std::size_t named_at_most = 12, name_at_most = 40; // in a message

std::int64_t number_of(std::string_view text, std::int64_t otherwise)
{
    std::int64_t value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    return error == std::errc{} && end != text.data() ? value : otherwise;
}

int semitones_of(std::string_view step)
{
    constexpr std::string_view steps = "C.D.EF.G.A.B";
    const std::size_t at = step.size() == 1 ? steps.find(step) : std::string_view::npos;
    return at == std::string_view::npos ? 0 : static_cast<int>(at);
}

bool contains(std::string_view text, std::string_view word) { return text.find(word) != std::string_view::npos; }

// What is gathered of one <note>.
struct Gathered {
    std::size_t line{0};
    bool rest{false}, chord{false}, grace{false}, cue{false}, tied_from{false}, tremolo{false}, plucked{false}, comma{false};
    int slurs_ended{0}, slurs_begun{0};
    std::int64_t duration{0};
    int key{0}, alter{0}, octave{4};
    std::int64_t staff{1};
    std::string voice{};
    std::optional<Direction> mark{};
};

class PencilReader
{
public:
    PencilReader(std::string_view document, const PencilPlace& place) : xml_(document), asked_(place)
    {
        if (place.part.empty()) wanted_ = 1;
    }

    std::variant<std::vector<PencilNote>, WishProblem> read()
    {
        for (;;) {
            switch (xml_.next()) {
            case XmlPiece::start:
                if (const auto problem = start()) return *problem;
                break;
            case XmlPiece::end:
                if (const auto problem = end()) return *problem;
                break;
            case XmlPiece::text:
                text_ = xml_.text();
                break;
            case XmlPiece::problem:
                return refuse(xml_.problem().line, xml_.problem().what, "export the part again");
            case XmlPiece::finished:
                if (const auto problem = missing()) return *problem;
                return std::move(notes_);
            }
        }
    }

private:
    static WishProblem refuse(std::size_t line, std::string what, std::string remedy)
    {
        return {line, 1, std::move(what), std::move(remedy)};
    }

    std::optional<WishProblem> start()
    {
        text_.clear();
        const std::string_view name = xml_.name();
        if (parents_.empty() && name != "score-partwise")
            return refuse(xml_.line(), "is no MusicXML part: it begins with <" + std::string{name.substr(0, 24)} + ">",
                          "give a part as MusicXML, partwise");
        parents_.push_back(name);
        if (name == "part") {
            ++parts_;
            bar_ = 0;
        }
        if (name == "measure" && here()) {
            if (++bar_ > bars_at_most) return refuse(xml_.line(), "has more bars than can be", "give a single part");
            at_ = 0;
        }
        if (name == "note") {
            note_ = {};
            note_.line = xml_.line();
        }
        if (name == "rest") note_.rest = true;
        if (name == "chord") note_.chord = true;
        if (name == "grace") note_.grace = true;
        if (name == "cue") note_.cue = true;
        if (name == "up-bow") note_.mark = Direction::up;
        if (name == "down-bow") note_.mark = Direction::down;
        if (name == "stopped" || name == "snap-pizzicato") note_.plucked = true; // the cross of a left-hand pizzicato
        if (name == "breath-mark") note_.comma = true;
        if (name == "tremolo") note_.tremolo = true;
        const auto type = xml_.attribute("type");
        if (name == "tie" && type == "stop") note_.tied_from = true;
        if (name == "slur" && type == "start") ++note_.slurs_begun;
        if (name == "slur" && type == "stop") ++note_.slurs_ended;
        return std::nullopt;
    }

    bool inside(std::string_view parent) const { return parents_.size() > 1 && parents_[parents_.size() - 2] == parent; }

    std::optional<WishProblem> end()
    {
        const std::string_view name = xml_.name();
        if (parts_ == 0) {
            if (inside("score-part") && name == "part-name") listed_.push_back({text_, {}});
            if (inside("score-part") && name == "part-abbreviation" && !listed_.empty()) listed_.back().brief = text_;
            if (name == "part-list")
                if (auto problem = choose_part()) return problem;
        }
        if (here()) {
            if (inside("attributes") || inside("time") || inside("transpose")) end_in_attributes(name);
            if (inside("note") || inside("pitch")) end_in_note(name);
            if (name == "words") read_words();
            if (name == "backup") at_ = std::max(0.0, at_ - quarters(duration_));
            if (name == "forward") at_ += quarters(duration_);
            if (name == "duration") duration_ = number_of(text_, 0);
            if (name == "note") end_note();
            if (at_ > quarters_at_most || at_ < 0) return refuse(xml_.line(), "has a bar longer than can be", "export the part again");
        }
        text_.clear();
        parents_.pop_back();
        return std::nullopt;
    }

    bool here() const { return parts_ > 0 && parts_ == wanted_; }

    std::string listed() const
    {
        std::string text;
        for (std::size_t i = 0; i < listed_.size() && i < named_at_most; ++i)
            text += (i == 0 ? "" : ", ") + std::to_string(i + 1) + " " + listed_[i].name.substr(0, name_at_most);
        if (listed_.size() > named_at_most) text += ", and more";
        return text;
    }

    // A number counts the parts as they are listed; a name has to be one part's alone.
    std::optional<WishProblem> choose_part()
    {
        if (asked_.part.empty()) return std::nullopt;
        const bool number = asked_.part.find_first_not_of("0123456789") == std::string::npos;
        if (number) wanted_ = static_cast<int>(std::clamp<std::int64_t>(number_of(asked_.part, 0), 0, 1'000'000));
        for (std::size_t i = 0; i < listed_.size() && !number; ++i) {
            if (listed_[i].name != asked_.part && listed_[i].brief != asked_.part) continue;
            if (wanted_ > 0) return refuse(xml_.line(), "has two parts named " + asked_.part, "give the part by its number: " + listed());
            wanted_ = static_cast<int>(i + 1);
        }
        if (wanted_ > 0 && static_cast<std::size_t>(wanted_) <= listed_.size()) return std::nullopt;
        return refuse(xml_.line(), "has no part " + asked_.part, "it has " + listed());
    }

    // At the end: what was asked for and never came.
    std::optional<WishProblem> missing() const
    {
        if (wanted_ == 0 || parts_ < wanted_)
            return asked_.part.empty() ? std::nullopt
                                       : std::optional{refuse(xml_.line(), "has no music of part " + asked_.part, "export the part again")};
        if (asked_.staff > staves_)
            return refuse(xml_.line(), "has no staff " + std::to_string(asked_.staff) + " in this part",
                          staves_ == 1 ? "it has one" : "it has " + std::to_string(staves_));
        if (asked_.voice.empty() || std::find(voices_.begin(), voices_.end(), asked_.voice) != voices_.end()) return std::nullopt;
        std::string has;
        for (const std::string& voice : voices_) has += (has.empty() ? "" : ", ") + voice;
        return refuse(xml_.line(), "has no voice " + asked_.voice + " on this staff", "it has " + (has.empty() ? "none" : has));
    }

    double quarters(std::int64_t duration) const { return static_cast<double>(duration) / static_cast<double>(divisions_); }

    void end_in_attributes(std::string_view name)
    {
        if (name == "divisions") divisions_ = std::clamp<std::int64_t>(number_of(text_, 1), 1, divisions_at_most);
        if (name == "beat-type") beat_quarters_ = 4.0 / static_cast<double>(std::clamp<std::int64_t>(number_of(text_, 4), 1, 128));
        if (name == "chromatic") chromatic_ = static_cast<int>(std::clamp<std::int64_t>(number_of(text_, 0), -48, 48));
        if (name == "octave-change") octaves_ = static_cast<int>(std::clamp<std::int64_t>(number_of(text_, 0), -4, 4));
    }

    void end_in_note(std::string_view name)
    {
        if (name == "step") note_.key = semitones_of(text_);
        if (name == "alter") note_.alter = static_cast<int>(std::clamp<std::int64_t>(number_of(text_, 0), -3, 3));
        if (name == "octave") note_.octave = static_cast<int>(std::clamp<std::int64_t>(number_of(text_, 4), -1, 10));
        if (name == "duration") note_.duration = number_of(text_, 0);
        if (name == "staff") note_.staff = number_of(text_, 1);
        if (name == "voice") note_.voice = text_;
    }

    void read_words()
    {
        std::string words = text_;
        std::transform(words.begin(), words.end(), words.begin(),
                       [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
        if (contains(words, "pizz")) plucked_ = true;
        if (contains(words, "arco")) plucked_ = false;
    }

    void end_note()
    {
        const double begins = at_;
        const double lasts = note_.grace ? 0 : quarters(note_.duration);
        if (!note_.chord) at_ += lasts;
        staves_ = std::max(staves_, static_cast<int>(std::clamp<std::int64_t>(note_.staff, 1, staves_at_most)));
        if (note_.staff != asked_.staff) return;
        if (voices_.size() < voices_at_most && std::find(voices_.begin(), voices_.end(), note_.voice) == voices_.end())
            voices_.push_back(note_.voice);
        if (note_.cue || note_.voice != (asked_.voice.empty() ? voices_.front() : asked_.voice)) return;
        if (note_.chord) {
            add_to_chord();
            return;
        }
        if (note_.rest) {
            rested_ += lasts;
            if (rested_ >= rest_forgets_quarters) expected_.reset();
            return;
        }
        rested_ = 0;
        add(begins);
        after_grace_ = note_.grace;
        comma_ = note_.comma;
        slurs_ = std::max(0, slurs_ - note_.slurs_ended) + note_.slurs_begun;
        if (note_.tremolo || plucked_ || note_.plucked) expected_.reset();
    }

    void add_to_chord()
    {
        if (notes_.empty() || note_.rest || note_.mark == std::nullopt || notes_.back().marked) return;
        mark(notes_.back(), *note_.mark);
    }

    void mark(PencilNote& note, Direction direction)
    {
        note.bow = direction;
        note.marked = true;
        note.retake = comma_;
        expected_ = opposite(direction);
    }

    void add(double begins)
    {
        // The bow changes under a held note: no wish, for that is where the hair ends; the strokes after it go on from there.
        if (note_.tied_from && note_.mark) expected_ = opposite(*note_.mark);
        if (note_.tied_from || plucked_ || note_.plucked) return;
        PencilNote note;
        note.line = note_.line;
        note.bar = bar_;
        note.quarter = begins;
        note.beat = 1 + begins / beat_quarters_;
        note.key = std::clamp((note_.octave + 1 + octaves_) * 12 + note_.key + note_.alter + chromatic_, 0, 127);
        note.grace = note_.grace;
        // A grace note that is not slurred is played with the bow of the note it leads to.
        note.on_bow_of_before = (slurs_ > 0 || after_grace_) && !note_.mark;
        if (note_.mark) {
            mark(note, *note_.mark);
        } else if (!note.on_bow_of_before && expected_) {
            note.bow = expected_;
            expected_ = opposite(*expected_);
        }
        notes_.push_back(note);
    }

    XmlReader xml_;
    std::vector<std::string_view> parents_;
    std::string text_;
    std::vector<PencilNote> notes_;
    Gathered note_;
    struct Listed {
        std::string name, brief;
    };
    PencilPlace asked_;
    std::vector<Listed> listed_;      // parts, as the score lists them
    std::vector<std::string> voices_; // of the staff, as they came
    int staves_{1};
    int wanted_{0}; // which part; 0: not known yet
    int parts_{0};
    std::int32_t bar_{0};
    double at_{0};
    std::int64_t divisions_{1}, duration_{0};
    double beat_quarters_{1};
    int chromatic_{0}, octaves_{0};
    int slurs_{0};
    double rested_{0};
    bool plucked_{false};
    bool after_grace_{false};
    std::optional<Direction> expected_; // of the next stroke
    bool comma_{false};                 // after the note before
};

} // namespace

std::variant<std::vector<PencilNote>, WishProblem> read_pencil(std::string_view document, const PencilPlace& place)
{
    return PencilReader(document, place).read();
}

bool is_music_xml(std::string_view bytes)
{
    constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";
    if (bytes.starts_with(byte_order_mark)) bytes.remove_prefix(byte_order_mark.size());
    const std::size_t first = bytes.find_first_not_of(" \t\r\n");
    return first != std::string_view::npos && bytes[first] == '<';
}

} // namespace bowarm::part
