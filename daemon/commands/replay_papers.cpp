#include "commands/replay_papers.hpp"

#include "commands/exit_codes.hpp"
#include "commands/replay.hpp"
#include "commands/replay_words.hpp"
#include "sound/take_sound.hpp"
#include "sound/wave_file.hpp"
#include "take/chart.hpp"
#include "take/sheet.hpp"

#include <algorithm>
#include <cstdio>
#include <filesystem>

namespace bowarm
{
namespace
{

namespace fs = std::filesystem;

std::string ending_of(const std::string& path)
{
    std::string ending = fs::path(path).extension().string();
    std::transform(ending.begin(), ending.end(), ending.begin(),
                   [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; });
    return ending;
}

ReportForm report_form(const Arguments& arguments)
{
    const auto form = arguments.value("--report-form");
    if (form == "json") return ReportForm::json;
    if (form == "csv") return ReportForm::csv;
    if (form == "text") return ReportForm::text;
    if (form) throw CommandFailure(exit_code::usage, "--report-form " + *form + ": the forms are json, csv and text");
    const auto report = arguments.value("--report");
    const std::string ending = report ? ending_of(*report) : "";
    if (ending == ".csv") return ReportForm::csv;
    return ending == ".txt" ? ReportForm::text : ReportForm::json;
}

void refuse_ending(const std::string& option, const std::optional<std::string>& path, const std::string& one, const std::string& other)
{
    if (!path) return;
    const std::string ending = ending_of(*path);
    if (ending == one || ending == other) return;
    throw CommandFailure(exit_code::usage,
                         "bowarmd replay: " + option + " " + *path + ": name a file that ends in " + one + " or " + other);
}

// C.svg, C-2.svg, C-3.svg.
std::string page_path(const std::string& path, std::size_t number)
{
    if (number == 1) return path;
    const fs::path first{path};
    return (first.parent_path() / (first.stem().string() + "-" + std::to_string(number) + first.extension().string())).string();
}

void write_text(const std::string& path, const std::string& text, Settle settle = Settle::on_disk)
{
    write_output(path, {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()}, settle);
}

void write_report(const PapersWish& wish, const Played& played)
{
    if (wish.form == ReportForm::json) return write_text(*wish.report, report_json(played.take, played.head));
    write_text(*wish.report, wish.form == ReportForm::csv ? report_csv(played.take, played.head) : report_plain(played.take, played.head));
}

// A browser is slow with more.
constexpr std::size_t pages_in_html = 60;

void say_files(const std::string& path, std::size_t files, const char* what)
{
    if (files > 1) std::printf("chart: %zu %s, %s to %s\n", files, what, path.c_str(), page_path(path, files).c_str());
}

void write_chart_pages(const std::string& path, const ChartWish& chart)
{
    draw_chart(chart, [&path](const std::string& page, std::size_t number, std::size_t count) {
        write_text(page_path(path, number), page, Settle::by_itself);
        if (number == count) say_files(path, count, "pages");
    });
}

void write_chart_html(const std::string& path, const ChartWish& chart)
{
    std::vector<std::string> pages;
    std::size_t files = 0;
    draw_chart(chart, [&](std::string page, std::size_t number, std::size_t count) {
        pages.push_back(std::move(page));
        if (pages.size() < pages_in_html && number < count) return;
        write_text(page_path(path, ++files), chart_html(chart.title, pages), Settle::by_itself);
        pages.clear();
        if (number == count) say_files(path, files, "files");
    });
}

void write_chart(const PapersWish& wish, const Played& played)
{
    const ChartWish chart{played.title, played.take, *played.motion, played.player.instrument, played.head.later, wish.chart_bars};
    if (ending_of(*wish.chart) == ".html")
        write_chart_html(*wish.chart, chart);
    else
        write_chart_pages(*wish.chart, chart);
}

void write_sheet(const PapersWish& wish, const Played& played)
{
    const Sheet sheet = sheet_of(played.take, played.head, played.title);
    write_text(*wish.sheet, ending_of(*wish.sheet) == ".html" ? sheet_html(sheet) : sheet_text(sheet));
}

// A sound file of an hour is 350 MB.
constexpr Duration longest_sound = milliseconds(3'600'000);

void write_sound(const PapersWish& wish, const Played& played)
{
    if (played.take.latest() - played.take.origin() > longest_sound)
        throw CommandFailure(exit_code::bad_data, *wish.wav + ": the take lasts longer than an hour; divide the piece");
    const auto sound = sound_of(played.take, *played.motion, played.player.instrument);
    write_output(*wish.wav, wave_file(sound, sound_rate));
    std::printf("%s: before you listen, turn your headphones down, then up until it is comfortable\n", wish.wav->c_str());
}

} // namespace

PapersWish papers_wish(const Arguments& arguments)
{
    PapersWish wish{arguments.value("--report"),
                    arguments.value("--chart"),
                    arguments.value("--sheet"),
                    arguments.value("--wav"),
                    report_form(arguments),
                    {},
                    {}};
    if (!wish.report && arguments.has("--report-form"))
        throw CommandFailure(exit_code::usage, "--report-form is of use only with --report; give both");
    refuse_ending("--chart", wish.chart, ".svg", ".html");
    refuse_ending("--sheet", wish.sheet, ".html", ".txt");
    if (const auto bars = arguments.value("--chart-bars")) wish.chart_bars = bars_of("--chart-bars", *bars);
    if (wish.chart_bars && !wish.chart) throw CommandFailure(exit_code::usage, "--chart-bars is of use only with --chart; give both");
    const auto word = arguments.value("--fail-on");
    if (!word) return wish;
    wish.fail_on = severity_of_word(*word);
    if (!wish.fail_on) throw CommandFailure(exit_code::usage, "--fail-on " + *word + ": the words are note, careful and cannot");
    return wish;
}

std::vector<std::pair<std::string, std::string>> files_of(const PapersWish& wish)
{
    std::vector<std::pair<std::string, std::string>> files;
    if (wish.report) files.emplace_back("--report", *wish.report);
    if (wish.chart) files.emplace_back("--chart", *wish.chart);
    if (wish.sheet) files.emplace_back("--sheet", *wish.sheet);
    if (wish.wav) files.emplace_back("--wav", *wish.wav);
    return files;
}

void write_papers(const PapersWish& wish, const Played& played)
{
    if (wish.report) write_report(wish, played);
    if (wish.chart) write_chart(wish, played);
    if (wish.sheet) write_sheet(wish, played);
    if (wish.wav) write_sound(wish, played);
}

bool has_remark(const Recorder& take, Severity least)
{
    const auto remarks = remarks_of(story_of(take.facts()));
    return std::any_of(remarks.begin(), remarks.end(), [least](const Remark& remark) { return remark.severity >= least; });
}

} // namespace bowarm
