#include "take/chart.hpp"

#include "take/chart_system.hpp"
#include "take/decimal.hpp"
#include "take/words.hpp"

#include <algorithm>
#include <cstring>

namespace bowarm
{
namespace
{

constexpr double title_height = 78, page_bottom = page_height - 26;

std::string_view instrument_name(const Instrument& instrument)
{
    return {instrument.name.data(), ::strnlen(instrument.name.data(), instrument.name.size())};
}

struct Page {
    std::vector<System> systems;
};

// As many systems as fit; one that is too high for any page stands alone and its foot is cut.
std::vector<Page> pages_of(std::vector<System> systems)
{
    std::vector<Page> pages(1);
    double y = title_height;
    std::size_t number = 1;
    for (System& system : systems) {
        number_remarks(system, number);
        if (y + height_of(system) > page_bottom && !pages.back().systems.empty()) {
            pages.emplace_back();
            y = title_height;
            number = 1;
            number_remarks(system, number);
        }
        number += system.remarks.size();
        y += height_of(system);
        pages.back().systems.push_back(std::move(system));
    }
    return pages;
}

void draw_legend(Svg& svg, double y)
{
    double x = page_left;
    const auto words = [&](std::string_view text, double width) {
        svg.text("small", {x, y + 3}, text);
        x += width;
    };
    svg.line("down", {x, y}, {x + 22, y});
    x += 28;
    words("down-bow", 52);
    svg.line("up", {x, y}, {x + 22, y});
    svg.line("core", {x, y}, {x + 22, y});
    x += 28;
    words("up-bow", 44);
    svg.line("lift", {x, y}, {x + 22, y});
    x += 28;
    words("lifted", 38);
    SvgPath hatch;
    for (int i = 0; i < 5; ++i) {
        hatch.move({x + 4 * i, y - 5});
        hatch.draw({x + 4 * i, y + 5});
    }
    hatch.put(svg, "hatch");
    svg.line("runout", {x + 20, y - 6}, {x + 20, y + 6});
    x += 28;
    words("the hair ran out", 76);
    svg.rect("limits", {x, y - 4}, 22, 8);
    x += 28;
    words("forces that sound", 84);
    svg.rect("mark", {x, y - 5}, 12, 10);
    x += 17;
    words("cannot", 38);
    const Point corners[] = {{x, y + 5}, {x + 14, y + 5}, {x + 7, y - 7}};
    svg.shape("mark", corners);
    x += 19;
    words("careful", 38);
    svg.ellipse("mark-mild", {x + 6, y}, 6, 6);
    x += 17;
    words("note", 24);
}

struct Head {
    std::string title, under, description;
};

std::string counted(std::size_t count, std::string_view word)
{
    return std::to_string(count) + " " + std::string{word} + (count == 1 ? "" : "s");
}

std::string described(const ChartScene& scene)
{
    std::size_t forced = 0;
    for (const ChartStroke& stroke : scene.strokes) forced += stroke.began->forced;
    std::string text = counted(scene.notes.size(), "note") + ", " + counted(scene.strokes.size(), "stroke") + ", " +
                       counted(scene.remarks.size(), "warning");
    if (forced > 0) text += ", the hair ran out " + counted(forced, "time");
    return text;
}

std::string warnings_in_words(const Page& page)
{
    constexpr std::size_t told = 12;
    std::string text;
    std::size_t count = 0;
    for (const System& system : page.systems) {
        for (const Remark* remark : system.remarks) {
            if (++count > told) return text;
            text += ' ';
            text += remark->place.bar > 0 ? place_words(remark->place) + ": " : "";
            text += remark->reason + ".";
        }
    }
    return text;
}

std::string page_text(const ChartScene& scene, const Page& page, const Head& head, std::size_t number, std::size_t count)
{
    const std::string id = std::to_string(number);
    std::string text = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 794 1123\" width=\"794\" height=\"1123\" role=\"img\" "
                       "aria-labelledby=\"title-" +
                       id + " desc-" + id + "\">\n";
    text += "<title id=\"title-" + id + "\">" + xml_text(head.title) + ", bow chart, page " + id + " of " + std::to_string(count) +
            "</title>\n";
    text += "<desc id=\"desc-" + id + "\">" + xml_text(head.description + "." + warnings_in_words(page)) + "</desc>\n";
    text += "<style>" + std::string{chart_style()} + "</style>\n";
    Svg svg;
    svg.rect("paper", {0, 0}, page_width, page_height);
    svg.text("title", {page_left, 32}, head.title);
    svg.text("small", {page_left, 46}, head.under);
    draw_legend(svg, 62);
    double y = title_height;
    for (const System& system : page.systems) {
        draw_system(svg, scene, system, y);
        y += height_of(system);
    }
    if (page.systems.empty()) svg.text("word", {page_left, title_height + 20}, "nothing was played here");
    svg.text("small", {page_left, page_height - 12}, "page " + id + " of " + std::to_string(count));
    return text + svg.take() + "</svg>\n";
}

// A title that is too long for the page is cut, between characters of UTF-8.
std::string fitting(std::string_view title)
{
    constexpr std::size_t letters = 48;
    if (title.size() <= letters) return std::string{title};
    std::size_t cut = letters;
    while (cut > 0 && (static_cast<unsigned char>(title[cut]) & 0xC0U) == 0x80U) --cut;
    return std::string{title.substr(0, cut)} + "\u2026";
}

// From the beginning of the first bar to the end of the last; all where no bars are asked for.
Stretch asked_for(const ChartScene& scene, const ChartWish& wish)
{
    Stretch all{wish.take.origin(), wish.take.latest() - wish.later};
    if (!wish.only) return all;
    const auto find = [&](std::int32_t bar) {
        return std::find_if(scene.beats.begin(), scene.beats.end(), [bar](const Beat& beat) { return beat.bar >= bar; });
    };
    const auto first = find(wish.only->first);
    const auto after = find(wish.only->last + 1);
    if (first == scene.beats.end()) return {all.end, all.end};
    constexpr Duration a_little = milliseconds(40); // as systems begin
    return {first->at - a_little, after == scene.beats.end() ? all.end : after->at - a_little};
}

} // namespace

void draw_chart(const ChartWish& wish, const TakePage& take_page)
{
    const Story story = story_of(wish.take.facts());
    const auto remarks = remarks_of(story);
    const auto beats = beats_of(wish.take, wish.later);
    const std::size_t desks = wish.motion.desks();

    std::vector<ChartScene> scenes;
    for (std::size_t desk = 0; desk < desks; ++desk) scenes.push_back(scene_of(wish, story, remarks, beats, desk));
    std::vector<std::vector<Page>> pages;
    std::size_t count = 0;
    for (const ChartScene& scene : scenes) {
        const Stretch whole = asked_for(scene, wish);
        const auto stretches = stretches_of(scene, system_length, whole.begin, whole.end);
        pages.push_back(pages_of(systems_of(scene, stretches)));
        count += pages.back().size();
    }

    std::size_t number = 0;
    for (std::size_t desk = 0; desk < desks; ++desk) {
        const std::string whose = desks > 1 ? ", desk " + std::to_string(desk + 1) : "";
        const Head head{fitting(wish.title), std::string{instrument_name(wish.instrument)} + whose + "; " + described(scenes[desk]),
                        described(scenes[desk])};
        for (const Page& page : pages[desk]) {
            ++number;
            take_page(page_text(scenes[desk], page, head, number, count), number, count);
        }
    }
}

} // namespace bowarm
