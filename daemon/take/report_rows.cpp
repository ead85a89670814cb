#include "take/decimal.hpp"
#include "take/remarks.hpp"
#include "take/take.hpp"
#include "take/words.hpp"

#include <array>

namespace bowarm
{
namespace
{

// RFC 4180: quoted where the field has a comma, a quote or a line end; a quote inside is doubled.
std::string field(std::string_view text)
{
    if (text.find_first_of(",\"\r\n") == std::string_view::npos) return std::string{text};
    std::string quoted(1, '"');
    for (const char c : text) {
        if (c == '"') quoted += '"';
        quoted += c;
    }
    quoted += '"';
    return quoted;
}

std::string seconds_text(Time at, const Recorder& take, const ReportHead& head)
{
    return decimal_text(to_seconds(at - head.later - take.origin()).value, 3);
}

std::string pitch_text(const Story& story, std::uint32_t number)
{
    const auto note = story.notes.find(number);
    return note == story.notes.end() ? "" : key_word(note->second.began.pitch);
}

std::string counts_text(const std::vector<Remark>& remarks)
{
    std::array<std::size_t, severity_count> counts{};
    for (const Remark& remark : remarks) ++counts[static_cast<std::size_t>(remark.severity)];
    std::string text;
    for (std::size_t i = severity_count; i > 0; --i) {
        if (!text.empty()) text += ", ";
        text.append(std::to_string(counts[i - 1])).append(" ").append(severity_word(static_cast<Severity>(i - 1)));
    }
    return text;
}

} // namespace

std::string report_csv(const Recorder& take, const ReportHead& head)
{
    const Story story = story_of(take.facts());
    std::string text = "onset_s,bar,beat,severity,code,reason,remedy,note,pitch\r\n";
    for (const Remark& remark : remarks_of(story)) {
        const bool placed = remark.place.bar > 0;
        text += seconds_text(remark.at, take, head) + ",";
        text += (placed ? std::to_string(remark.place.bar) : "") + ",";
        text += (placed ? decimal_text(remark.place.beat, 4) : "") + ",";
        text += std::string{severity_word(remark.severity)} + "," + field(remark.code) + ",";
        text += field(remark.reason) + "," + field(remark.remedy) + ",";
        text += (remark.note == no_number ? "" : std::to_string(remark.note)) + "," + pitch_text(story, remark.note) + "\r\n";
    }
    return text;
}

std::string report_plain(const Recorder& take, const ReportHead& head)
{
    const Story story = story_of(take.facts());
    const auto remarks = remarks_of(story);
    std::string text = std::string{head.instrument} + ", " + std::string{head.mode} + ": " + std::to_string(story.notes.size()) +
                       " notes, " + seconds_text(take.latest(), take, head) + " s\n";
    text += remarks.empty() ? "no warnings\n" : "warnings: " + counts_text(remarks) + "\n";
    for (const Remark& remark : remarks) {
        const std::string place = place_words(remark.place);
        const std::string pitch = pitch_text(story, remark.note);
        text += '\n';
        if (!place.empty()) text.append(place).append(", ");
        text.append(seconds_text(remark.at, take, head)).append(" s");
        if (!pitch.empty()) text.append(", ").append(pitch);
        text.append("  [").append(severity_word(remark.severity)).append("] ").append(remark.code);
        text.append("\n    ").append(remark.reason).append("\n    ").append(remark.remedy).append("\n");
    }
    return text;
}

} // namespace bowarm
