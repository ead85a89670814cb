#include "take/chart.hpp"

#include "player/random_playing.hpp"
#include "take/performance.hpp"

#include <algorithm>
#include <cctype>
#include <doctest/doctest.h>
#include <string>
#include <vector>

using namespace bowarm;
using namespace bowarm::test;

namespace
{

struct Bowed {
    Recorder take;
    MotionRecord motion;
};

Bowed bowed(const PlayerConfig& config, const std::vector<Input>& inputs)
{
    Bowed b{{}, MotionRecord{config.desks}};
    Player player(config);
    perform(player, inputs, inputs.empty() ? Time{} : inputs.back().at + milliseconds(500), b.take, &b.motion);
    return b;
}

std::vector<std::string> pages_of(const Bowed& b, const PlayerConfig& config, std::string_view title = "a piece")
{
    std::vector<std::string> pages;
    draw_chart({title, b.take, b.motion, config.instrument, {}, {}}, [&pages](std::string page, std::size_t number, std::size_t) {
        CHECK(number == pages.size() + 1);
        pages.push_back(std::move(page));
    });
    return pages;
}

std::size_t count(const std::string& text, const std::string& what)
{
    std::size_t found = 0;
    for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++found;
    return found;
}

// The value of an attribute in the element that begins at `at`; 0 where it has none.
double attribute(const std::string& page, std::size_t at, const std::string& name)
{
    const std::string element = page.substr(at, page.find('>', at) - at);
    const std::size_t found = element.find(" " + name + "=\"");
    return found == std::string::npos ? 0 : std::stod(element.substr(found + name.size() + 3));
}

// Pairs of numbers, every one of them absolute: M, L, Q and Z.
std::vector<std::pair<double, double>> path_points(const std::string& data)
{
    std::vector<double> numbers;
    for (std::size_t i = 0; i < data.size();) {
        if (std::isdigit(static_cast<unsigned char>(data[i])) == 0 && data[i] != '-') {
            REQUIRE(std::string{"MLQZ "}.find(data[i]) != std::string::npos);
            ++i;
            continue;
        }
        std::size_t used = 0;
        numbers.push_back(std::stod(data.substr(i, 24), &used));
        i += used;
    }
    REQUIRE(numbers.size() % 2 == 0);
    std::vector<std::pair<double, double>> points;
    for (std::size_t i = 0; i < numbers.size(); i += 2) points.emplace_back(numbers[i], numbers[i + 1]);
    return points;
}

struct Box {
    double left{1e9}, top{1e9}, right{-1e9}, bottom{-1e9};
    void add(double x, double y)
    {
        left = std::min(left, x);
        right = std::max(right, x);
        top = std::min(top, y);
        bottom = std::max(bottom, y);
    }
};

template <class See> void each(const std::string& page, const std::string& element, const See& see)
{
    const std::string start = "<" + element + " ";
    for (std::size_t at = page.find(start); at != std::string::npos; at = page.find(start, at + 1)) see(at);
}

Box drawn(const std::string& page)
{
    Box box;
    each(page, "line", [&](std::size_t at) {
        box.add(attribute(page, at, "x1"), attribute(page, at, "y1"));
        box.add(attribute(page, at, "x2"), attribute(page, at, "y2"));
    });
    each(page, "rect", [&](std::size_t at) {
        const double x = attribute(page, at, "x"), y = attribute(page, at, "y");
        CHECK(attribute(page, at, "width") >= 0);
        box.add(x, y);
        box.add(x + attribute(page, at, "width"), y + attribute(page, at, "height"));
    });
    each(page, "ellipse", [&](std::size_t at) {
        const double x = attribute(page, at, "cx"), y = attribute(page, at, "cy");
        box.add(x - attribute(page, at, "rx"), y - attribute(page, at, "ry"));
        box.add(x + attribute(page, at, "rx"), y + attribute(page, at, "ry"));
    });
    each(page, "text", [&](std::size_t at) { box.add(attribute(page, at, "x"), attribute(page, at, "y")); });
    each(page, "path", [&](std::size_t at) {
        const std::size_t data = page.find(" d=\"", at) + 4;
        for (const auto& [x, y] : path_points(page.substr(data, page.find('"', data) - data))) box.add(x, y);
    });
    return box;
}

Input key(int ms, int pitch, bool down)
{
    const Time at = Time{} + milliseconds(ms);
    const Midi7 note = Midi7::nearest(pitch);
    return midi_input(at, Source{0}, down ? note_on({}, note, Midi7::nearest(80)) : note_off({}, note));
}

std::vector<std::pair<double, double>> line_of(const std::string& page, const std::string& css_class)
{
    const std::size_t at = page.find("<path class=\"" + css_class + "\" d=\"");
    if (at == std::string::npos) return {};
    const std::size_t data = page.find(" d=\"", at) + 4;
    return path_points(page.substr(data, page.find('"', data) - data));
}

} // namespace

TEST_CASE("whatever is played, everything drawn lies on its page")
{
    for (std::uint64_t seed = 1; seed <= 60; ++seed) {
        CAPTURE(seed);
        PlayerConfig config = random_config(seed);
        config.desks = static_cast<std::uint8_t>(1 + seed % 3);
        const auto playing = seed % 2 == 0 ? random_playing(seed, 400) : random_two_voices(seed, 400);
        for (const std::string& page : pages_of(bowed(config, playing), config)) {
            const Box box = drawn(page);
            CHECK(box.left >= 0);
            CHECK(box.top >= 0);
            CHECK(box.right <= 794);
            CHECK(box.bottom <= 1123);
        }
    }
}

TEST_CASE("a down-bow goes down the page, an up-bow up")
{
    const PlayerConfig config = violin_config();
    const auto pages = pages_of(bowed(config, {key(0, 74, true), key(700, 74, false), key(720, 76, true), key(1400, 76, false)}), config);
    REQUIRE(pages.size() == 1);
    const auto down = line_of(pages[0], "down"), up = line_of(pages[0], "up");
    REQUIRE(down.size() > 2);
    REQUIRE(up.size() > 2);
    // The legend draws with lines, so the first paths are the bow's.
    CHECK(down.back().second > down.front().second + 5);
    CHECK(up.back().second < up.front().second - 5);
    CHECK(up.front().first > down.front().first);
}

TEST_CASE("each change for want of hair is a bar across the bow")
{
    const PlayerConfig config = violin_config();
    const Bowed b = bowed(config, {midi_input({}, Source{0}, control_change({}, Midi7::nearest(11), Midi7::nearest(110))),
                                   key(10, 74, true), key(12'000, 74, false)});
    const auto forced = std::count_if(b.take.facts().begin(), b.take.facts().end(),
                                      [](const Fact& f) { return f.kind == FactKind::stroke_began && f.forced; });
    REQUIRE(forced > 1);
    std::size_t bars = 0;
    for (const std::string& page : pages_of(b, config)) bars += count(page, "<line class=\"runout\"") - 1; // the legend's
    CHECK(bars == static_cast<std::size_t>(forced));
}

TEST_CASE("every note is drawn once, and names itself")
{
    const PlayerConfig config = violin_config();
    std::vector<Input> playing;
    for (int i = 0; i < 100; ++i) {
        playing.push_back(key(i * 400, 60 + i % 12, true));
        playing.push_back(key(i * 400 + 300, 60 + i % 12, false));
    }
    std::size_t heads = 0, sharps = 0;
    for (const std::string& page : pages_of(bowed(config, playing), config)) {
        heads += count(page, "<ellipse class=\"head\"");
        sharps += count(page, "\u266f</text>");
    }
    CHECK(heads == 100);
    CHECK(sharps == 42); // eight times five black keys, then C# and D#
}

TEST_CASE("silence gives one page that says so, and a title keeps its signs")
{
    const PlayerConfig config = violin_config();
    const auto pages = pages_of(bowed(config, {}), config, "a < b & \"c\"");
    REQUIRE(pages.size() == 1);
    CHECK(count(pages[0], "nothing was played here") == 1);
    CHECK(count(pages[0], "a &lt; b &amp; &quot;c&quot;") > 0);
    CHECK(count(pages[0], "a < b") == 0);
}

TEST_CASE("bars asked for alone are drawn alone")
{
    const PlayerConfig config = violin_config();
    std::vector<Input> playing{tempo_input({}, 500'000), meter_input({}, 4, 2)};
    for (int i = 0; i < 32; ++i) {
        playing.push_back(key(i * 500, 74, true));
        playing.push_back(key(i * 500 + 400, 74, false));
    }
    const Bowed b = bowed(config, playing);
    std::string page;
    draw_chart({"a piece", b.take, b.motion, config.instrument, {}, Bars{3, 4}},
               [&page](std::string drawn_page, std::size_t, std::size_t) { page += drawn_page; });
    CHECK(count(page, "<ellipse class=\"head\"") == 8);
    CHECK(count(page, "class=\"bar-number\"") == 2);
}
