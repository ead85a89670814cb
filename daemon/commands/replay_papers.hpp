// What replay writes beside the MIDI file for people to look at and to hear: report, chart, sheet, sound.
//   thread   the command's.  Errors: CommandFailure, 64 a form that is not known, 65 too long for a sound file, 73 and 74 as write_output
//   says.
#pragma once

#include "commands/options.hpp"
#include "take/hindsight.hpp"
#include "take/motion.hpp"
#include "take/remarks.hpp"
#include "take/take.hpp"

#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace bowarm
{

enum class ReportForm : std::uint8_t { json, csv, text };

struct PapersWish {
    std::optional<std::string> report, chart, sheet, wav;
    ReportForm form{ReportForm::json};
    std::optional<Bars> chart_bars;
    std::optional<Severity> fail_on;

    bool needs_motion() const { return chart || wav; }
    bool tells_regret() const { return report && form == ReportForm::json; }
};

// The forms go by --report-form and the files' endings.
PapersWish papers_wish(const Arguments& arguments);

// Every file that will be written, by its option.
std::vector<std::pair<std::string, std::string>> files_of(const PapersWish& wish);

struct Played {
    const Recorder& take;
    const std::optional<MotionRecord>& motion;
    const PlayerConfig& player;
    std::string title;
    ReportHead head;
};
void write_papers(const PapersWish& wish, const Played& played);

// Whether the take has a warning of this severity or a worse one.
bool has_remark(const Recorder& take, Severity least);

} // namespace bowarm
