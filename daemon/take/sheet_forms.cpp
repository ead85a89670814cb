#include "take/sheet.hpp"

#include "take/svg.hpp"

namespace bowarm
{
namespace
{

std::string bars_or_dash(const std::string& bars) { return bars.empty() ? "-" : bars; }

void add_padded(std::string& text, const std::string& cell, std::size_t width)
{
    text += cell;
    text.append(cell.size() < width ? width - cell.size() : 0, ' ');
    text += "  ";
}

void add_places(std::string& text, std::string_view heading, const std::vector<SheetPlace>& places, std::string_view none)
{
    text.append("\n").append(heading).append("\n");
    if (places.empty()) text.append("  ").append(none).append("\n");
    for (const SheetPlace& place : places) {
        text += "  ";
        add_padded(text, place.time, 8);
        add_padded(text, bars_or_dash(place.bars), 16);
        text += place.what + "\n";
    }
}

constexpr std::string_view sections_heading = "Sections";
constexpr std::string_view least_true_heading = "Least true in the mock-up: record these first";
constexpr std::string_view cues_heading = "Cues";
constexpr std::string_view none_weak = "nothing stands out";
constexpr std::string_view none_played = "nothing was played";

} // namespace

std::string sheet_text(const Sheet& sheet)
{
    std::string text = sheet.title + "\n" + sheet.under + "\n\n" + std::string{sections_heading} + "\n";
    if (sheet.sections.empty()) text.append("  ").append(none_played).append("\n");
    for (const SheetSection& s : sheet.sections) {
        text += "  bars ";
        add_padded(text, bars_or_dash(s.bars), 9);
        add_padded(text, s.time, 15);
        add_padded(text, s.dynamics, 8);
        text += s.techniques + "\n      " + s.difficulty + "\n      second pass: " + s.second_pass + "\n";
    }
    add_places(text, least_true_heading, sheet.least_true, none_weak);
    add_places(text, cues_heading, sheet.cues, none_played);
    return text;
}

namespace
{

constexpr std::string_view head = R"(<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<style>
@page{size:A4;margin:12mm}
body{font-family:sans-serif;font-size:.85rem;line-height:1.3;max-width:60rem;margin:1rem auto;padding:0 .6rem;background:#fff;color:#1c1c1c}
h1{font-size:1.3rem;margin:0}h2{font-size:1rem;margin:1rem 0 .2rem}
table{border-collapse:collapse;width:100%}
th,td{text-align:left;vertical-align:top;padding:.2rem .5rem .2rem 0;border-bottom:1px solid #bbb}
td.number{white-space:nowrap;font-variant-numeric:tabular-nums}
@media(max-width:640px){thead{display:none}tr{display:block;padding:.4rem 0;border-bottom:1px solid #bbb}td{display:inline;border:0;padding:0 .4rem 0 0}}
@media screen and (prefers-color-scheme:dark){body{background:#15171a;color:#ece9e1}th,td,tr{border-color:#444}}
@media print{body{font-size:8.5pt;margin:0;max-width:none}}
</style>
)";

std::string cell(const std::string& text, bool number)
{
    return std::string{number ? "<td class=\"number\">" : "<td>"} + xml_text(text) + "</td>";
}

std::string places_html(std::string_view heading, const std::vector<SheetPlace>& places, std::string_view none)
{
    std::string text = "<h2>" + std::string{heading} + "</h2>\n";
    if (places.empty()) return text + "<p>" + std::string{none} + "</p>\n";
    text += "<table>\n<thead><tr><th>time</th><th>bars</th><th>what</th></tr></thead>\n<tbody>\n";
    for (const SheetPlace& place : places)
        text += "<tr>" + cell(place.time, true) + cell(bars_or_dash(place.bars), true) + cell(place.what, false) + "</tr>\n";
    return text + "</tbody></table>\n";
}

} // namespace

std::string sheet_html(const Sheet& sheet)
{
    std::string text{head};
    text += "<title>" + xml_text(sheet.title) + ", session sheet</title>\n</head>\n<body>\n";
    text +=
        "<h1>" + xml_text(sheet.title) + "</h1>\n<p>" + xml_text(sheet.under) + "</p>\n<h2>" + std::string{sections_heading} + "</h2>\n";
    if (sheet.sections.empty()) text += "<p>" + std::string{none_played} + "</p>\n";
    if (!sheet.sections.empty())
        text += "<table>\n<thead><tr><th>bars</th><th>time</th><th>dynamics</th><th>technique</th><th>difficulty</th><th>second "
                "pass</th></tr></thead>\n<tbody>\n";
    for (const SheetSection& s : sheet.sections)
        text += "<tr>" + cell(bars_or_dash(s.bars), true) + cell(s.time, true) + cell(s.dynamics, true) + cell(s.techniques, false) +
                cell(s.difficulty, false) + cell(s.second_pass, false) + "</tr>\n";
    if (!sheet.sections.empty()) text += "</tbody></table>\n";
    text += places_html(least_true_heading, sheet.least_true, none_weak);
    text += places_html(cues_heading, sheet.cues, none_played);
    return text + "</body>\n</html>\n";
}

} // namespace bowarm
