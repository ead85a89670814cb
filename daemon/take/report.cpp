#include "take/decimal.hpp"
#include "take/remarks.hpp"
#include "take/report_text.hpp"
#include "take/story.hpp"
#include "take/take.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <optional>
#include <vector>

namespace bowarm
{

namespace
{

namespace json = boost::json;

// Rounded here, so that the text cannot say more than is meant; null where there is no number.
json::value decimal(double value, int places)
{
    const auto scaled = rounded(value, places);
    if (!scaled) return nullptr;
    double divisor = 1;
    for (int i = 0; i < places; ++i) divisor *= 10;
    return static_cast<double>(*scaled) / divisor;
}

json::value number_or_null(std::uint32_t number) { return number == no_number ? json::value(nullptr) : json::value(number); }

class ReportWriter
{
public:
    ReportWriter(const Recorder& take, const ReportHead& head)
        : take_(take), head_(head), story_(story_of(take.facts())), remarks_(remarks_of(story_))
    {
        for (const Fact& fact : take.facts()) shared_ = shared_ || fact.desk > 0;
    }

    std::string text()
    {
        ReportText report;
        report.member("format", "bowarm-report");
        report.member("version", 1);
        report.member("instrument", json::value(head_.instrument));
        report.member("target", json::value(head_.target));
        report.member("mode", json::value(head_.mode));
        report.begin_list("notes");
        for (const auto& [number, note] : story_.notes) report.element(note_object(note));
        report.end_list();
        report.begin_list("strokes");
        for (const auto& [number, stroke] : story_.strokes)
            if (stroke.began || stroke.ended) report.element(stroke_object(number, stroke));
        report.end_list();
        report.member("warnings", warnings());
        if (head_.wishes) report.member("wishes", wishes());
        report.member("totals", totals());
        return report.finish();
    }

private:
    json::value seconds(Time at) const { return decimal(to_seconds(at - take_.origin()).value, 6); }
    // Of what the player did: when it was asked for.
    json::value musical(Time at) const { return seconds(at - head_.later); }

    json::value string_name(std::uint8_t index) const
    {
        if (index >= head_.strings.size()) return nullptr;
        return json::value(pitch_class_word(head_.strings[index].open_key));
    }

    static json::value place(std::uint8_t known) { return known == no_place ? json::value(nullptr) : json::value(known); }

    const StrokeStory* stroke_of(std::uint32_t number) const
    {
        const auto found = story_.strokes.find(number);
        return found == story_.strokes.end() ? nullptr : &found->second;
    }

    // Cut off by the end of the take: it sounded until then.
    Time end_of(const NoteStory& note) const { return std::max(note.began.at, note.ended.value_or(take_.latest())); }

    json::object note_object(const NoteStory& note) const
    {
        const Fact* first = note.parts.empty() ? nullptr : &note.parts.front();
        json::object object = stretch(note, first, note.began.at, end_of(note));
        if (note.parts.size() < 2) return object;
        json::array segments;
        for (const Fact& part : note.parts) segments.push_back(stretch(note, &part, part.began, part.at));
        object["segments"] = std::move(segments);
        return object;
    }

    // The fields of a note or of one of its parts; without a part only what was known at the onset.
    json::object stretch(const NoteStory& note, const Fact* part, Time onset, Time end) const
    {
        const Fact& began = note.began;
        const bool first_part = part == nullptr || part == &note.parts.front();
        const std::uint32_t stroke = part != nullptr && part->stroke != no_number ? part->stroke : began.stroke;
        const StrokeStory* journey = stroke_of(stroke);
        const bool bowed = !is_plucked(began.technique) && !began.plucked;
        json::object object;
        object["index"] = began.note;
        object["onset_s"] = musical(onset);
        object["end_s"] = musical(end);
        object["pitch"] = began.pitch;
        object["velocity"] = began.velocity;
        object["technique"] = technique_word(first_part ? began.technique : part->technique);
        object["read"] = began.read ? json::value(family_word(*began.read)) : json::value(nullptr);
        object["bow"] = bowed ? bow(part, journey) : json::value(nullptr);
        object["stroke"] = number_or_null(stroke);
        object["hair_from"] = part != nullptr ? decimal(part->hair_from.value, 4) : json::value(nullptr);
        object["hair_to"] = part != nullptr ? decimal(part->hair_to.value, 4) : json::value(nullptr);
        object["string"] = string_name(part != nullptr && part->string != no_string ? part->string : began.string);
        object["stopped"] = place(began.stopped);
        object["position"] = place(began.position);
        if (shared_) object["desk"] = began.desk + 1;
        put_motion(object, part != nullptr ? &part->motion : nullptr);
        const bool begins_stroke = !first_part && journey != nullptr && journey->began;
        object["retake"] = begins_stroke ? journey->began->retake : began.retake;
        object["hooked"] = begins_stroke ? journey->began->hooked : began.hooked;
        object["zone"] = zone_word(began.zone);
        object["muted"] = began.muted;
        return object;
    }

    static json::value bow(const Fact* part, const StrokeStory* journey)
    {
        if (part != nullptr) return json::value(direction_word(part->direction));
        if (journey != nullptr && journey->began) return json::value(direction_word(journey->began->direction));
        return nullptr;
    }

    static void put_motion(json::object& object, const MotionMeans* motion)
    {
        object["speed_m_s"] = motion != nullptr ? decimal(motion->speed.value, 4) : json::value(nullptr);
        object["force_n"] = motion != nullptr ? decimal(motion->force.value, 4) : json::value(nullptr);
        object["beta"] = motion != nullptr ? decimal(motion->beta.value, 4) : json::value(nullptr);
        const auto verdict = motion != nullptr ? force_verdict_word(motion->verdict) : std::nullopt;
        object["schelleng"] = verdict ? json::value(*verdict) : json::value(nullptr);
        object["extremes"] = motion != nullptr ? json::value(extremes(*motion)) : json::value(nullptr);
    }

    // Least and greatest over the stretch, attack and stop included.
    static json::object extremes(const MotionMeans& m)
    {
        json::object both;
        both["speed_m_s"] = json::array{decimal(m.speed_low.value, 4), decimal(m.speed_high.value, 4)};
        both["force_n"] = json::array{decimal(m.force_low.value, 4), decimal(m.force_high.value, 4)};
        both["beta"] = json::array{decimal(m.beta_low.value, 4), decimal(m.beta_high.value, 4)};
        return both;
    }

    json::object stroke_object(std::uint32_t number, const StrokeStory& stroke) const
    {
        const Fact& start = stroke.began ? *stroke.began : *stroke.ended;
        const Time began = stroke.began ? start.at : start.began;
        const bool bowed = !is_plucked(start.technique) && !start.plucked;
        json::object object;
        object["index"] = number;
        object["onset_s"] = musical(began);
        object["end_s"] = musical(stroke.ended ? stroke.ended->at : std::max(began, take_.latest()));
        object["bar"] = start.place.bar > 0 ? json::value(start.place.bar) : json::value(nullptr);
        object["beat"] = start.place.bar > 0 ? decimal(start.place.beat, 4) : json::value(nullptr);
        object["technique"] = technique_word(start.technique);
        object["bow"] = bowed ? json::value(direction_word(start.direction)) : json::value(nullptr);
        object["hair_from"] = decimal(start.hair_from.value, 4);
        object["hair_to"] = stroke.ended ? decimal(stroke.ended->hair_to.value, 4) : json::value(nullptr);
        put_motion(object, stroke.ended ? &stroke.ended->motion : nullptr);
        object["outside_share"] = stroke.ended ? decimal(stroke.ended->motion.share_outside, 4) : json::value(nullptr);
        object["retake"] = start.retake;
        object["hooked"] = start.hooked;
        object["forced"] = start.forced;
        object["clean_start"] = start.clean;
        object["reasons"] = reasons(start);
        object["notes"] = json::array(stroke.notes.begin(), stroke.notes.end());
        return object;
    }

    static json::array reasons(const Fact& start)
    {
        json::array all;
        for (const Reason reason : start.reasons)
            if (reason != Reason::none) all.push_back(json::value(reason_in_bar(reason, start.place.bar)));
        return all;
    }

    json::array warnings() const
    {
        json::array all;
        for (const Remark& remark : remarks_) {
            const bool placed = remark.place.bar > 0;
            json::object object;
            object["onset_s"] = musical(remark.at);
            object["bar"] = placed ? json::value(remark.place.bar) : json::value(nullptr);
            object["beat"] = placed ? decimal(remark.place.beat, 4) : json::value(nullptr);
            object["severity"] = severity_word(remark.severity);
            object["code"] = remark.code;
            object["reason"] = remark.reason;
            object["remedy"] = remark.remedy;
            object["text"] = remark.reason + "; " + remark.remedy;
            object["note"] = number_or_null(remark.note);
            all.push_back(std::move(object));
        }
        return all;
    }

    json::array wishes() const
    {
        json::array all;
        for (const WishOutcome& outcome : *head_.wishes) {
            const bool obeyed = outcome.refused.empty();
            all.push_back(json::object{{"line", outcome.line},
                                       {"wish", outcome.wish},
                                       {"obeyed", obeyed},
                                       {"reason", obeyed ? json::value(nullptr) : json::value(outcome.refused)}});
        }
        return all;
    }

    json::object totals() const
    {
        std::int64_t strokes = 0, retakes = 0, forced = 0, hooked = 0;
        for (const auto& [number, stroke] : story_.strokes) {
            if (!stroke.began) continue;
            ++strokes;
            retakes += stroke.began->retake ? 1 : 0;
            forced += stroke.began->forced ? 1 : 0;
        }
        for (const auto& [number, note] : story_.notes) hooked += note.began.hooked ? 1 : 0;
        json::object object;
        object["notes"] = story_.notes.size();
        object["strokes"] = strokes;
        object["retakes"] = retakes;
        object["hooked"] = hooked;
        object["forced_changes"] = forced;
        object["repairs"] = story_.repairs;
        object["unmended"] = story_.unmended;
        object["warnings"] = remarks_.size();
        object["severities"] = severities();
        object["schelleng"] = verdicts();
        object["regret"] = head_.regret ? decimal(head_.regret->cost, 4) : json::value(nullptr);
        object["regret_strokes"] = head_.regret ? json::value(head_.regret->strokes) : json::value(nullptr);
        object["seconds"] = seconds(take_.latest());
        return object;
    }

    json::object severities() const
    {
        json::object object;
        for (int i = 0; i < severity_count; ++i) {
            const auto severity = static_cast<Severity>(i);
            object[severity_word(severity)] =
                std::count_if(remarks_.begin(), remarks_.end(), [severity](const Remark& remark) { return remark.severity == severity; });
        }
        return object;
    }

    // Of the first stroke of every note, as in "notes".
    json::object verdicts() const
    {
        std::int64_t inside = 0, below = 0, above = 0;
        for (const auto& [number, note] : story_.notes) {
            if (note.parts.empty()) continue;
            const ForceVerdict verdict = note.parts.front().motion.verdict;
            inside += verdict == ForceVerdict::inside ? 1 : 0;
            below += verdict == ForceVerdict::below ? 1 : 0;
            above += verdict == ForceVerdict::above ? 1 : 0;
        }
        json::object object;
        object["inside"] = inside;
        object["below"] = below;
        object["above"] = above;
        return object;
    }

    const Recorder& take_;
    const ReportHead& head_;
    Story story_;
    std::vector<Remark> remarks_;
    bool shared_{false}; // among desks
};

} // namespace

std::string report_json(const Recorder& take, const ReportHead& head) { return ReportWriter(take, head).text(); }

} // namespace bowarm
