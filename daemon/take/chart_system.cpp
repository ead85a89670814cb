#include "take/chart_system.hpp"

#include "take/chart_lanes.hpp"
#include "take/chart_staff.hpp"

namespace bowarm
{
namespace
{

constexpr double head_height = 60; // numbers of bars, words, warnings, signs
constexpr double bow_height = 98, speed_height = 26, force_height = 38, contact_height = 22;
constexpr double between_lanes = 6, foot_line = 10.5, after_system = 14;
constexpr double letters_in_foot = 160;
constexpr std::size_t foot_lines_at_most = 8;

// Cut at spaces.
void add_wrapped(std::vector<std::string>& lines, const std::string& text)
{
    const auto length = static_cast<std::size_t>(letters_in_foot);
    std::size_t from = 0;
    while (text.size() - from > length) {
        std::size_t cut = text.rfind(' ', from + length);
        if (cut == std::string::npos || cut <= from) cut = from + length;
        lines.push_back((from == 0 ? "" : "      ") + text.substr(from, cut - from));
        from = cut + 1;
    }
    lines.push_back((from == 0 ? "" : "      ") + text.substr(from));
}

std::string remark_text(const Remark& remark, std::size_t number)
{
    const std::string where = place_words(remark.place);
    return std::to_string(number) + "  " + (where.empty() ? "" : where + ": ") + remark.reason + "; " + remark.remedy + " (" +
           std::string{severity_word(remark.severity)} + ")";
}

double lanes_height() { return bow_height + speed_height + force_height + contact_height + 4 * between_lanes; }

// Keeps those that go on, drops those that have ended, adds those that begin.
template <class Item> void pass_on(std::vector<Item>& sounding, std::span<const Item> all, std::size_t& next, Stretch stretch)
{
    std::erase_if(sounding, [&](const Item& item) { return item.end <= stretch.begin; });
    for (; next < all.size() && all[next].at < stretch.end; ++next)
        if (all[next].end > stretch.begin || all[next].at >= stretch.begin) sounding.push_back(all[next]);
}

} // namespace

std::vector<System> systems_of(const ChartScene& scene, std::span<const Stretch> stretches)
{
    std::vector<System> systems;
    std::vector<ChartNote> notes;
    std::vector<ChartStroke> strokes;
    std::size_t next_note = 0, next_stroke = 0, next_remark = 0;
    for (const Stretch& stretch : stretches) {
        pass_on<ChartNote>(notes, scene.notes, next_note, stretch);
        pass_on<ChartStroke>(strokes, scene.strokes, next_stroke, stretch);
        System system;
        system.stretch = stretch;
        system.notes = notes;
        system.strokes = strokes;
        while (next_remark < scene.remarks.size() && scene.remarks[next_remark].at < stretch.begin) ++next_remark;
        for (; next_remark < scene.remarks.size() && scene.remarks[next_remark].at < stretch.end; ++next_remark)
            system.remarks.push_back(&scene.remarks[next_remark]);
        systems.push_back(std::move(system));
    }
    if (systems.empty()) return systems;
    // What is said at the very end, when the last note has gone, belongs to the last system.
    for (; next_remark < scene.remarks.size() && scene.remarks[next_remark].at == systems.back().stretch.end; ++next_remark)
        systems.back().remarks.push_back(&scene.remarks[next_remark]);
    for (System& system : systems) {
        const StaffRoom room = staff_room(scene, system.notes);
        system.height_of_lanes = head_height + lanes_height() + room.above + 4 * staff_space + room.below;
    }
    return systems;
}

double height_of(const System& system)
{
    return system.height_of_lanes + static_cast<double>(system.foot.size()) * foot_line + after_system;
}

void number_remarks(System& system, std::size_t first_number)
{
    system.first_number = first_number;
    system.foot.clear();
    for (std::size_t i = 0; i < system.remarks.size(); ++i) {
        std::vector<std::string> lines;
        add_wrapped(lines, remark_text(*system.remarks[i], first_number + i));
        if (system.foot.size() + lines.size() > foot_lines_at_most) {
            system.foot.push_back("and " + std::to_string(system.remarks.size() - i) + " more; the report has them all");
            return;
        }
        system.foot.insert(system.foot.end(), lines.begin(), lines.end());
    }
}

namespace
{

Frame frame_for(const ChartScene& scene, const System& system, double top)
{
    const StaffRoom room = staff_room(scene, system.notes);
    Frame f;
    f.stretch = system.stretch;
    f.units_a_second = scene.units_a_second;
    f.marks = top + head_height - 4;
    f.bow_top = top + head_height;
    f.bow_bottom = f.bow_top + bow_height;
    f.staff_top = f.bow_bottom + between_lanes;
    f.staff_bottom_line = f.staff_top + room.above + 4 * staff_space;
    f.staff_bottom = f.staff_bottom_line + room.below;
    f.speed_top = f.staff_bottom + between_lanes;
    f.speed_bottom = f.speed_top + speed_height;
    f.force_top = f.speed_bottom + between_lanes;
    f.force_bottom = f.force_top + force_height;
    f.contact_top = f.force_bottom + between_lanes;
    f.contact_bottom = f.contact_top + contact_height;
    return f;
}

// Over the lanes, under all that moves.
void draw_beats(Svg& svg, const ChartScene& scene, const Frame& frame, double top)
{
    const auto by_time = [](const Beat& beat, Time t) { return beat.at < t; };
    const auto first = std::lower_bound(scene.beats.begin(), scene.beats.end(), frame.stretch.begin, by_time);
    double numbers_free = 0;
    for (auto beat = first; beat != scene.beats.end() && beat->at <= frame.stretch.end; ++beat) {
        const double x = frame.x(beat->at);
        const bool bar = beat->beat == 1;
        svg.line(bar ? "barline" : "beat", {x, frame.bow_top}, {x, frame.contact_bottom});
        if (!bar || x < numbers_free || beat->at == frame.stretch.end) continue;
        svg.text("bar-number", {x, top + 9}, std::to_string(beat->bar));
        numbers_free = x + 24;
    }
}

void draw_second_marks(Svg& svg, const ChartScene& scene, const Frame& frame, double top)
{
    if (!scene.beats.empty()) return;
    constexpr Duration five{5'000'000'000};
    for (Time t{(frame.stretch.begin.ns + five.ns - 1) / five.ns * five.ns}; t < frame.stretch.end; t = t + five) {
        const double x = std::min(frame.x(t), page_right - 24);
        svg.line("beat", {frame.x(t), frame.bow_top}, {frame.x(t), frame.contact_bottom});
        svg.text("small", {x, top + 9}, std::to_string(t.ns / 1'000'000'000) + " s");
    }
}

// A triangle for what needs care, a full square for what cannot be played, a disc for a note; each with its number.
void draw_mark(Svg& svg, Point at, const Remark& remark, std::size_t number)
{
    svg.open_group("", remark.reason + "; " + remark.remedy);
    if (remark.severity == Severity::note) {
        svg.ellipse("mark-mild", {at.x, at.y}, 6, 6);
    } else if (remark.severity == Severity::careful) {
        const Point corners[] = {{at.x - 8, at.y + 6}, {at.x + 8, at.y + 6}, {at.x, at.y - 8}};
        svg.shape("mark", corners);
    } else {
        svg.rect("mark", {at.x - 7, at.y - 6}, 14, 12);
    }
    svg.text("mark-number", {at.x, at.y + (remark.severity == Severity::careful ? 4.5 : 3)}, std::to_string(number));
    svg.close_group();
}

void draw_marks(Svg& svg, const Frame& frame, const System& system, double y)
{
    double free_from = 0;
    for (std::size_t i = 0; i < system.remarks.size(); ++i) {
        const double x = std::clamp(frame.x(system.remarks[i]->at), page_left + 8, page_right - 8);
        if (x < free_from) continue;
        draw_mark(svg, {x, y}, *system.remarks[i], system.first_number + i);
        free_from = x + 15;
    }
}

std::string system_title(const ChartScene& scene, const System& system)
{
    const auto by_time = [](const Beat& beat, Time t) { return beat.at < t; };
    const auto beat = std::lower_bound(scene.beats.begin(), scene.beats.end(), system.stretch.begin, by_time);
    const std::string warnings = std::to_string(system.remarks.size()) + " warnings";
    const std::string notes = std::to_string(system.notes.size()) + " notes, ";
    return (beat == scene.beats.end() ? "" : "from bar " + std::to_string(beat->bar) + ": ") + notes + warnings;
}

} // namespace

void draw_system(Svg& svg, const ChartScene& scene, const System& system, double top)
{
    const Frame frame = frame_for(scene, system, top);
    svg.open_group("system", "");
    svg.rect("touch", {0, top}, page_left - 40, head_height, system_title(scene, system));
    draw_lanes(svg, scene, frame);
    draw_beats(svg, scene, frame, top);
    draw_second_marks(svg, scene, frame, top);
    draw_speed(svg, scene, frame);
    draw_force(svg, scene, frame);
    draw_contact(svg, scene, frame);
    draw_bow(svg, scene, frame, system.strokes);
    draw_staff(svg, scene, frame, system.notes);
    draw_words(svg, frame, system.notes, top + 29);
    draw_marks(svg, frame, system, top + 40);
    double y = frame.contact_bottom + foot_line + 2;
    for (const std::string& line : system.foot) {
        svg.text("foot", {page_left, y}, line);
        y += foot_line;
    }
    svg.close_group();
}

} // namespace bowarm
