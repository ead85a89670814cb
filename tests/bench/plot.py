"""Plots as SVG, with the standard library alone."""
import html
import math

INK, GRID, GUIDE, PAPER = "#222222", "#dddddd", "#777777", "#ffffff"
COLOURS = ["#0b6e99", "#c2410c", "#4d7c0f"]
WIDTH, HEIGHT = 520, 400
LEFT, RIGHT, TOP, BOTTOM = 70, 40, 50, 55


def text(x, y, words, size=13, anchor="middle", colour=INK, turn=""):
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" fill="{colour}"{turn}>{html.escape(words)}</text>'


def line(x1, y1, x2, y2, colour, width=1.0, dashes=""):
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" stroke-width="{width}"{dashed}/>'


def short(value):
    return f"{value:,.0f}" if value >= 10 else f"{value:g}"


class Axis:
    """From values to a place on the paper; logarithmic where asked for, with its marks."""

    def __init__(self, values, first, last, logarithmic, marks=None):
        self.logarithmic, self.first, self.last = logarithmic, first, last
        if logarithmic:
            self.low, self.high = min(values), max(values)
            decades = range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1)
            self.marks = marks or [10.0 ** d for d in decades]
            self.low, self.high = min(self.low, self.marks[0]), max(self.high, self.marks[-1])
        else:
            step = 10 ** math.floor(math.log10(max(values)))
            step = step / 5 if max(values) / step < 2 else step / 2 if max(values) / step < 5 else step
            self.low, self.high = 0, step * math.ceil(max(values) * 1.05 / step)
            self.marks = [i * step for i in range(int(self.high / step + 1.5))]

    def at(self, value):
        scale = math.log if self.logarithmic else float
        return self.first + (scale(value) - scale(self.low)) / (scale(self.high) - scale(self.low)) * (self.last - self.first)


class Panel:
    """One plot.  lines and guides: (name, [(x, y)]), guides dashed and without dots; levels: (name, y)."""

    def __init__(self, title, x_name, y_name, lines, guides=(), levels=(), log_y=True, x_marks=None):
        self.title, self.x_name, self.y_name, self.lines, self.levels = title, x_name, y_name, lines, levels
        self.guides = guides
        points = [p for _, ps in lines for p in ps]
        self.x = Axis([p[0] for p in points], LEFT, WIDTH - RIGHT, True, x_marks)
        guided = [p[1] for _, ps in guides for p in ps]
        self.y = Axis([p[1] for p in points] + guided + [y for _, y in levels], HEIGHT - BOTTOM, TOP, log_y)

    def draw(self):
        out = [text(WIDTH / 2, 22, self.title, 15)]
        bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
        for mark in self.x.marks:
            out += [line(self.x.at(mark), TOP, self.x.at(mark), bottom, GRID), text(self.x.at(mark), bottom + 18, short(mark), 12)]
        for mark in self.y.marks:
            out += [line(LEFT, self.y.at(mark), right, self.y.at(mark), GRID), text(LEFT - 8, self.y.at(mark) + 4, short(mark), 12, "end")]
        out += [line(LEFT, bottom, right, bottom, INK), line(LEFT, TOP, LEFT, bottom, INK)]
        out += [text((LEFT + right) / 2, HEIGHT - 12, self.x_name),
                text(16, (TOP + bottom) / 2, self.y_name, turn=f' transform="rotate(-90 16 {(TOP + bottom) / 2})"')]
        for name, level in self.levels:
            out += [line(LEFT, self.y.at(level), right, self.y.at(level), INK, 1, "5 4"), text(LEFT + 6, self.y.at(level) - 6, name, 12, "start")]
        for (name, points), colour in zip(self.lines, COLOURS):
            places = [(self.x.at(x), self.y.at(y)) for x, y in points]
            path = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
            out.append(f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2"/>')
            out += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="{colour}"/>' for x, y in places]
        for _, points in self.guides:
            places = [(self.x.at(x), self.y.at(y)) for x, y in points]
            out += [line(*a, *b, GUIDE, 1.5, "2 4") for a, b in zip(places, places[1:])]
        # The names stand where rising curves leave room.
        names = [(name, colour, 2, "") for (name, _), colour in zip(self.lines, COLOURS)] + [(name, GUIDE, 1.5, "2 4") for name, _ in self.guides]
        for i, (name, colour, width, dashes) in enumerate(names):
            y = bottom - 14 - 18 * (len(names) - 1 - i)
            out += [line(right - 32, y - 4, right - 8, y - 4, colour, width, dashes), text(right - 40, y, name, 12, "end")]
        return "\n".join(out)


def write(path, panels):
    with open(path, "w", encoding="utf-8") as file:
        file.write(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH * len(panels)} {HEIGHT}" width="{WIDTH * len(panels)}" '
                   f'height="{HEIGHT}" font-family="sans-serif">\n<rect width="100%" height="100%" fill="{PAPER}"/>\n')
        for i, panel in enumerate(panels):
            file.write(f'<g transform="translate({WIDTH * i} 0)">\n{panel.draw()}\n</g>\n')
        file.write("</svg>\n")
