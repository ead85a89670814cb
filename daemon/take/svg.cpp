#include "take/svg.hpp"

#include "take/decimal.hpp"

#include <array>
#include <charconv>

namespace bowarm
{
namespace
{

void append_tenths(std::string& text, double value)
{
    const long long tenths = rounded(value, 1).value_or(0);
    std::array<char, 24> digits{};
    const long long size = tenths < 0 ? -tenths : tenths;
    if (tenths < 0) text += '-';
    const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), size / 10).ptr;
    text.append(digits.data(), end);
    if (size % 10 == 0) return;
    text += '.';
    text += static_cast<char>('0' + size % 10);
}

} // namespace

void Svg::start(std::string_view element, std::string_view css_class)
{
    text_ += '<';
    text_ += element;
    if (css_class.empty()) return;
    text_ += " class=\"";
    text_ += css_class;
    text_ += '"';
}

void Svg::attribute(std::string_view name, double value)
{
    text_ += ' ';
    text_ += name;
    text_ += "=\"";
    append_tenths(text_, value);
    text_ += '"';
}

void Svg::point(Point at)
{
    append_tenths(text_, at.x);
    text_ += ' ';
    append_tenths(text_, at.y);
}

void Svg::open_group(std::string_view css_class, std::string_view title)
{
    start("g", css_class);
    text_ += '>';
    if (!title.empty()) text_ += "<title>" + xml_text(title) + "</title>";
}

void Svg::close_group() { text_ += "</g>\n"; }

void Svg::line(std::string_view css_class, Point from, Point to)
{
    start("line", css_class);
    attribute("x1", from.x);
    attribute("y1", from.y);
    attribute("x2", to.x);
    attribute("y2", to.y);
    text_ += "/>\n";
}

void Svg::rect(std::string_view css_class, Point corner, double width, double height, std::string_view title)
{
    start("rect", css_class);
    attribute("x", corner.x);
    attribute("y", corner.y);
    attribute("width", width);
    attribute("height", height);
    text_ += title.empty() ? "/>\n" : "><title>" + xml_text(title) + "</title></rect>\n";
}

void Svg::ellipse(std::string_view css_class, Point centre, double rx, double ry)
{
    start("ellipse", css_class);
    attribute("cx", centre.x);
    attribute("cy", centre.y);
    attribute("rx", rx);
    attribute("ry", ry);
    text_ += "/>\n";
}

void Svg::curve(std::string_view css_class, Point from, Point control, Point to)
{
    start("path", css_class);
    text_ += " d=\"M";
    point(from);
    text_ += 'Q';
    point(control);
    text_ += ' ';
    point(to);
    text_ += "\"/>\n";
}

void Svg::text(std::string_view css_class, Point at, std::string_view words)
{
    start("text", css_class);
    attribute("x", at.x);
    attribute("y", at.y);
    text_ += '>';
    text_ += xml_text(words);
    text_ += "</text>\n";
}

void Svg::shape(std::string_view css_class, std::span<const Point> corners)
{
    if (corners.empty()) return;
    start("path", css_class);
    text_ += " d=\"";
    for (std::size_t i = 0; i < corners.size(); ++i) {
        text_ += i == 0 ? 'M' : 'L';
        point(corners[i]);
    }
    text_ += "Z\"/>\n";
}

void SvgPath::move(Point to)
{
    svg_.text_ += 'M';
    svg_.point(to);
}

void SvgPath::draw(Point to)
{
    svg_.text_ += 'L';
    svg_.point(to);
}

void SvgPath::put(Svg& svg, std::string_view css_class) const
{
    if (empty()) return;
    svg.start("path", css_class);
    svg.text_ += " d=\"";
    svg.text_ += svg_.text_;
    svg.text_ += "\"/>\n";
}

} // namespace bowarm
