// Scalable Vector Graphics as text: the few shapes that charts need, every coordinate absolute and of one decimal.
//   source   W3C, Scalable Vector Graphics (SVG) 1.1, 2011; SVG 2, 2018
//   thread   any.  Real-time safe: no, it allocates.  Errors: none; what is no number becomes 0.
#pragma once

#include "take/xml_escape.hpp"

#include <span>
#include <string>
#include <string_view>

namespace bowarm
{

struct Point {
    double x{0}, y{0};
};

class Svg
{
public:
    // Classes say how things look; titles are what a pointer and a screen reader are told.
    void open_group(std::string_view css_class, std::string_view title = {});
    void close_group();
    void line(std::string_view css_class, Point from, Point to);
    void rect(std::string_view css_class, Point corner, double width, double height, std::string_view title = {});
    void ellipse(std::string_view css_class, Point centre, double rx, double ry);
    void curve(std::string_view css_class, Point from, Point control, Point to);
    void text(std::string_view css_class, Point at, std::string_view words);
    // A closed shape.
    void shape(std::string_view css_class, std::span<const Point> corners);

    std::string take() { return std::move(text_); }

private:
    friend class SvgPath;
    void start(std::string_view element, std::string_view css_class);
    void attribute(std::string_view name, double value);
    void point(Point at);

    std::string text_;
};

// One path of many strokes of the pen; nothing is written where it stays empty.
class SvgPath
{
public:
    void move(Point to);
    void draw(Point to);
    bool empty() const { return svg_.text_.empty(); }
    void put(Svg& svg, std::string_view css_class) const;

private:
    Svg svg_;
};

} // namespace bowarm
