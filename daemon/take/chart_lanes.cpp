#include "take/chart_lanes.hpp"

#include "base/arithmetic.hpp"
#include "take/decimal.hpp"
#include "take/words.hpp"

#include <optional>

namespace bowarm
{
namespace
{

constexpr double finest = 0.7; // units of the page; more points than that cannot be seen

bool bows(const MotionSample& m) { return m.on_string && m.string != no_string && m.force > 0; }

// A lift, or another stroke that does not begin where the last one ended.
constexpr float jump = 0.02F; // of the hair
bool lifted(const MotionSample& a, const MotionSample& b)
{
    const float moved = a.hair < b.hair ? b.hair - a.hair : a.hair - b.hair;
    return a.strokes != b.strokes && moved > jump;
}

// Draws what the bow does between each two samples, no finer than can be seen.
template <class See> void walk(const ChartScene& scene, const Frame& frame, const See& see)
{
    const auto samples = motion_in(scene, frame.stretch);
    if (samples.empty()) return;
    const MotionSample* drawn = &samples.front();
    for (std::size_t i = 1; i < samples.size(); ++i) {
        const MotionSample& now = samples[i];
        const bool same = bows(*drawn) == bows(now) && drawn->strokes == now.strokes && (drawn->speed < 0) == (now.speed < 0);
        const bool near = frame.x(now.at - scene.later) - frame.x(drawn->at - scene.later) < finest;
        if (same && near && i + 1 < samples.size()) continue;
        see(*drawn, now);
        drawn = &now;
    }
}

// A line that is broken where it has no value.
class Pen
{
public:
    void to(Point p)
    {
        if (down_)
            path_.draw(p);
        else
            path_.move(p);
        down_ = true;
    }
    void lift() { down_ = false; }
    const SvgPath& path() const { return path_; }

private:
    SvgPath path_;
    bool down_{false};
};

void draw_curve(Svg& svg, const ChartScene& scene, const Frame& frame, std::string_view css_class, const auto& height)
{
    Pen pen;
    walk(scene, frame, [&](const MotionSample& a, const MotionSample& b) {
        if (!bows(a) || !bows(b)) return pen.lift();
        pen.to({frame.x(a.at - scene.later), height(a)});
        pen.to({frame.x(b.at - scene.later), height(b)});
    });
    pen.path().put(svg, css_class);
}

std::string stroke_title(const ChartStroke& stroke)
{
    const Fact& began = *stroke.began;
    std::string text = std::string{direction_word(began.direction)} + "-bow, " + std::string{technique_word(began.technique)};
    const std::string where = place_words(began.place);
    if (!where.empty()) text += ", " + where;
    text += "; hair from " + decimal_text(began.hair_from.value, 2);
    if (stroke.ended != nullptr) {
        const MotionMeans& m = stroke.ended->motion;
        text += " to " + decimal_text(stroke.ended->hair_to.value, 2) + ", " + decimal_text(m.speed.value, 2) + " m/s, " +
                decimal_text(m.force.value, 2) + " N, contact point " + decimal_text(m.beta.value, 3);
    }
    if (began.reasons[0] != Reason::none) text += "; " + reason_in_bar(began.reasons[0], began.place.bar);
    return text;
}

// Signs for down and up as parts have them: an open square and a wedge.
void draw_sign(Svg& svg, const Frame& frame, double x, Direction direction)
{
    const double left = std::clamp(x - 3, page_left, page_right - 7), y = frame.marks;
    SvgPath sign;
    if (direction == Direction::down) {
        sign.move({left, y});
        sign.draw({left, y - 7});
        sign.draw({left + 7, y - 7});
        sign.draw({left + 7, y});
        sign.put(svg, "sign square");
    } else {
        sign.move({left, y - 8});
        sign.draw({left + 3, y});
        sign.draw({left + 6, y - 8});
        sign.put(svg, "sign");
    }
}

constexpr double signs_apart = 10;

void draw_signs(Svg& svg, const Frame& frame, std::span<const ChartStroke> strokes)
{
    double free_from = 0;
    for (const ChartStroke& stroke : strokes) {
        const double x = frame.x(stroke.at);
        if (stroke.at < frame.stretch.begin || x < free_from) continue;
        draw_sign(svg, frame, x, stroke.began->direction);
        free_from = x + signs_apart;
    }
}

// The last of the hair before the bow had to change, hatched, and a bar where it changed.
constexpr Duration short_of_hair = milliseconds(700);

void draw_run_outs(Svg& svg, const Frame& frame, std::span<const ChartStroke> strokes)
{
    for (std::size_t i = 0; i < strokes.size(); ++i) {
        const ChartStroke& stroke = strokes[i];
        if (!stroke.began->forced || stroke.at < frame.stretch.begin) continue;
        const Time before = i > 0 ? strokes[i - 1].at : frame.stretch.begin;
        const double from = frame.x(std::max({frame.stretch.begin, before, stroke.at - short_of_hair}));
        const double to = frame.x(stroke.at);
        SvgPath hatch;
        for (double x = from; x < to; x += 4) {
            hatch.move({x, frame.bow_top});
            hatch.draw({x, frame.bow_bottom});
        }
        hatch.put(svg, "hatch");
        svg.line("runout", {to, frame.bow_top - 2}, {to, frame.bow_bottom + 2});
    }
}

void draw_lane(Svg& svg, const Frame& frame, double top, double bottom)
{
    svg.rect("lane", {page_left, top}, frame.right() - page_left, bottom - top);
}

void label(Svg& svg, double baseline, std::string_view words) { svg.text("label", {page_left - 6, baseline}, words); }

void draw_hair(Svg& svg, const Frame& frame)
{
    const double edge = 0.05; // of the hair, at each end
    const double length = frame.right() - page_left, height = frame.bow_bottom - frame.bow_top;
    draw_lane(svg, frame, frame.bow_top, frame.bow_bottom);
    svg.rect("end", {page_left, frame.bow_top}, length, edge * height);
    svg.rect("end", {page_left, frame.bow_bottom - edge * height}, length, edge * height);
    svg.line("frog", {page_left, frame.bow_top}, {frame.right(), frame.bow_top});
    svg.line("tip", {page_left, frame.bow_bottom}, {frame.right(), frame.bow_bottom});
    label(svg, frame.bow_top + 8, "frog");
    label(svg, (frame.bow_top + frame.bow_bottom) / 2 + 3, "bow");
    label(svg, frame.bow_bottom, "tip");
}

// A lift is drawn only where it leads to another place, and no longer than a hand waits.
constexpr double longest_lift = 200;

class BowPens
{
public:
    BowPens(const ChartScene& scene, const Frame& frame) : scene_(scene), frame_(frame) {}

    void see(const MotionSample& a, const MotionSample& b)
    {
        if (!bows(a)) return raise();
        if (left_ && bows(a)) set_down(a);
        if (!bows(b) || lifted(a, b)) {
            left_ = point(a);
            return raise();
        }
        Pen& pen = b.speed < 0 || (b.speed == 0 && a.speed < 0) ? up_ : down_;
        if (&pen != last_) raise();
        pen.to(point(a));
        pen.to(point(b));
        last_ = &pen;
        if (lifted(a, b)) left_ = point(b);
    }

    void put(Svg& svg) const
    {
        lifts_.put(svg, "lift");
        up_.path().put(svg, "up");
        up_.path().put(svg, "core");
        down_.path().put(svg, "down");
    }

private:
    Point point(const MotionSample& m) const
    {
        return {frame_.x(m.at - scene_.later), place(static_cast<double>(m.hair), frame_.bow_top, frame_.bow_bottom)};
    }
    void raise()
    {
        up_.lift();
        down_.lift();
        last_ = nullptr;
    }
    void set_down(const MotionSample& m)
    {
        const Point here = point(m);
        const double way = here.y < left_->y ? left_->y - here.y : here.y - left_->y;
        if (here.x - left_->x < longest_lift && way > 2) {
            lifts_.move(*left_);
            lifts_.draw(here);
        }
        left_.reset();
    }

    const ChartScene& scene_;
    const Frame& frame_;
    Pen up_, down_;
    const Pen* last_{nullptr};
    SvgPath lifts_;
    std::optional<Point> left_;
};

} // namespace

void draw_lanes(Svg& svg, const ChartScene& scene, const Frame& frame)
{
    draw_hair(svg, frame);
    draw_lane(svg, frame, frame.speed_top, frame.speed_bottom);
    label(svg, frame.speed_top + 8, decimal_text(scene.fastest, 1) + " m/s");
    label(svg, frame.speed_bottom - 3, "speed");
    draw_lane(svg, frame, frame.force_top, frame.force_bottom);
    label(svg, frame.force_top + 8, "20 N");
    label(svg, (frame.force_top + frame.force_bottom) / 2 + 3, "force");
    label(svg, frame.force_bottom, "0.01 N");
    draw_lane(svg, frame, frame.contact_top, frame.contact_bottom);
    label(svg, frame.contact_top + 8, "fingerboard");
    label(svg, frame.contact_bottom, "bridge");
}

void draw_bow(Svg& svg, const ChartScene& scene, const Frame& frame, std::span<const ChartStroke> strokes)
{
    draw_run_outs(svg, frame, strokes);
    BowPens pens(scene, frame);
    walk(scene, frame, [&](const MotionSample& a, const MotionSample& b) { pens.see(a, b); });
    pens.put(svg);
    draw_signs(svg, frame, strokes);
    for (const ChartStroke& stroke : strokes) {
        const double from = frame.x(stroke.at), to = frame.x(stroke.end);
        if (to > from) svg.rect("touch", {from, frame.bow_top}, to - from, frame.bow_bottom - frame.bow_top, stroke_title(stroke));
    }
}

void draw_speed(Svg& svg, const ChartScene& scene, const Frame& frame)
{
    draw_curve(svg, scene, frame, "curve", [&](const MotionSample& m) {
        const double speed = static_cast<double>(m.speed < 0 ? -m.speed : m.speed);
        return place(1 - speed / scene.fastest, frame.speed_top, frame.speed_bottom);
    });
}

namespace
{

// Forces span decades; below a hundredth of a newton no hand leads a bow.
constexpr double least_force = 0.01, greatest_force = 20;

double force_place(const Frame& frame, float force)
{
    const double n = std::clamp(static_cast<double>(force), least_force, greatest_force);
    return place(1 - log_of_two(n / least_force) / log_of_two(greatest_force / least_force), frame.force_top, frame.force_bottom);
}

// The stretches between the limits as closed shapes.
void draw_limits(Svg& svg, const ChartScene& scene, const Frame& frame)
{
    std::vector<Point> above, below;
    const auto close = [&] {
        above.insert(above.end(), below.rbegin(), below.rend());
        svg.shape("limits", above);
        above.clear();
        below.clear();
    };
    const auto add = [&](const MotionSample& m) {
        const double x = frame.x(m.at - scene.later);
        above.push_back({x, force_place(frame, m.force_high)});
        below.push_back({x, force_place(frame, m.force_low)});
    };
    walk(scene, frame, [&](const MotionSample& a, const MotionSample& b) {
        if (!bows(a) || !bows(b)) return close();
        if (above.empty()) add(a);
        add(b);
    });
    close();
}

} // namespace

void draw_force(Svg& svg, const ChartScene& scene, const Frame& frame)
{
    draw_limits(svg, scene, frame);
    draw_curve(svg, scene, frame, "curve", [&](const MotionSample& m) { return force_place(frame, m.force); });
}

void draw_contact(Svg& svg, const ChartScene& scene, const Frame& frame)
{
    constexpr double fingerboard = 0.2; // of the string's length: where sul tasto ends
    draw_curve(svg, scene, frame, "curve", [&](const MotionSample& m) {
        return place(1 - static_cast<double>(m.beta) / fingerboard, frame.contact_top, frame.contact_bottom);
    });
}

} // namespace bowarm
