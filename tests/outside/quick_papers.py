"""What a composer looks at after a replay is what other people's readers accept, and says the same everywhere: charts are
well-formed SVG and HTML that fetch nothing, the rows of a report are CSV with the warnings of its JSON, severities decide the exit
status, the session sheet fits a page, and the sound has the pitches of its notes and begins in silence.

Readers: Python's xml, html and csv; Chromium, where it is installed, loads the HTML and runs its script.  Sources: W3C SVG 2; RFC
4180; equal temperament, A4 = 440 Hz.  A letter is at most as wide as two thirds of its size in a plain font (common practice, no
source)."""

import collections
import csv
import html.parser
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import unittest
import xml.etree.ElementTree as ElementTree

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import lib_sound

BOWARMD, SOURCE = (os.path.abspath(path) for path in sys.argv[1:3])
SVG = "{http://www.w3.org/2000/svg}"
INSTRUMENT = collections.defaultdict(lambda: "violin", {"low-song": "cello"})
SCENARIOS = sorted(name[:-4] for name in os.listdir(os.path.join(SOURCE, "scenarios")) if name.endswith(".mid"))
FETCHES = re.compile(r"\b(?:src|href|action|srcset)\s*=|@import|url\(|fetch\(|XMLHttpRequest|WebSocket|https?://(?!www\.w3\.org/2000/svg\b)")
SIZES = {"title": 15, "word": 10, "clef": 14, "foot": 8.5, "small": 8.5, "label": 8}
VOID = {"meta", "br", "link", "img", "input", "hr"}


class Balance(html.parser.HTMLParser):
    """Every element is closed in its turn."""

    def __init__(self, text):
        super().__init__()
        self.open, self.kinds = [], collections.Counter()
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.kinds[tag] += 1
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.kinds[tag] += 1

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, (tag, self.open[-3:])
        self.open.pop()


class Papers(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.addCleanup(self.folder.cleanup)

    def path(self, name):
        return os.path.join(self.folder.name, name)

    def read(self, name):
        with open(self.path(name), encoding="utf-8", newline="") as file:
            return file.read()

    def replay(self, scenario, *words, expect=0):
        words = [self.path(word[1:]) if word.startswith("@") else word for word in words]
        done = subprocess.run([BOWARMD, "replay", os.path.join(SOURCE, "scenarios", scenario + ".mid"), "--config",
                               os.path.join(SOURCE, "config", "bowarm.toml"), "--instrument", INSTRUMENT[scenario], *words],
                              stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, timeout=100)
        self.assertEqual(done.returncode, expect, (scenario, words, done.stderr))
        return done

    def check_page(self, text, name):
        page = ElementTree.fromstring(text)
        self.assertEqual(page.tag, SVG + "svg", name)
        self.assertEqual(page.get("role"), "img")
        named = {element.get("id"): element for element in page if element.tag in (SVG + "title", SVG + "desc")}
        for word in page.get("aria-labelledby").split():
            self.assertTrue(named[word].text.strip(), name)
        width = float(page.get("viewBox").split()[2])
        for words in page.iter(SVG + "text"):
            size = SIZES.get(words.get("class", "").split(" ")[0], 9)
            length = len(words.text) * size * 2 / 3
            left = float(words.get("x")) - (length if words.get("class") in ("label", "sharp", "clef") else 0)
            self.assertGreaterEqual(left, 0, (name, words.text))
            if words.get("class") != "foot":  # wrapped by their letters; judged below
                self.assertLessEqual(left, width - length if length < width else 0, (name, words.text))
            self.assertLessEqual(len(words.text), 170)
        self.assertIsNone(FETCHES.search(text), name)
        return page

    def pages(self, name):
        found = sorted((n for n in os.listdir(self.folder.name) if re.fullmatch(rf"{name}(-\d+)?\.svg", n)),
                       key=lambda n: int((re.search(r"-(\d+)\.svg$", n) or [0, 1])[1]))
        return [self.read(n) for n in found]

    def test_charts_are_well_formed_and_whole(self):
        for scenario in SCENARIOS:
            with self.subTest(scenario):
                self.replay(scenario, "--chart", f"@{scenario}.svg", "--report", "@report.json", "--report-form=json")
                report = json.loads(self.read("report.json"))
                pages = [self.check_page(text, scenario) for text in self.pages(scenario)]
                heads = sum(1 for page in pages for e in page.iter(SVG + "ellipse") if e.get("class") == "head")
                self.assertEqual(heads, len(report["notes"]))
                bars = sum(1 for page in pages for e in page.iter(SVG + "line") if e.get("class") == "runout") - len(pages)
                self.assertEqual(bars, report["totals"]["forced_changes"])

    def test_html_holds_the_same_pages_and_fetches_nothing(self):
        self.replay("every-technique", "--chart", "@c.svg")
        self.replay("every-technique", "--chart", "@c.html")
        text = self.read("c.html")
        self.assertIsNone(FETCHES.search(text))
        self.assertIn("default-src 'none'", text)
        balance = Balance(text)
        self.assertEqual(balance.open, [])
        self.assertEqual(balance.kinds["svg"], len(self.pages("c")))
        for page in self.pages("c"):
            self.assertIn(page, text)

    def shown_by_browser(self, script):
        """What the script leaves in the document's element "told"."""
        with open(self.path("c.html"), "r+", encoding="utf-8") as file:
            text = file.read().replace("</body>", f"<script>{script}</script></body>")
            file.seek(0)
            file.write(text)
        done = subprocess.run(["chromium", "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={self.path('profile')}",
                               "--dump-dom", "file://" + self.path("c.html")], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                              text=True, timeout=100)
        return done.stdout, re.search(r'<p id="told"[^>]*>([^<]*)<', done.stdout)[1]

    @unittest.skipUnless(shutil.which("chromium"), "chromium is not installed")
    def test_a_browser_loads_it_and_runs_its_script(self):
        self.replay("run-out", "--chart", "@c.html")
        page, told = self.shown_by_browser("document.getElementById('larger').click();"
                                           "document.querySelector('.touch').dispatchEvent(new Event('pointerover',{bubbles:true}))")
        self.assertRegex(page, r"--zoom: ?125")
        self.assertRegex(told, r"3 notes|bow")

    @unittest.skipUnless(shutil.which("chromium"), "chromium is not installed")
    def test_as_a_browser_draws_it_every_word_and_line_lies_on_its_page(self):
        for scenario in ("every-technique", "run-out", "low-song"):
            self.replay(scenario, "--chart", "@c.html")
            told = self.shown_by_browser("""
let out = 0, all = 0;
for (const page of document.querySelectorAll("main > svg")) for (const e of page.querySelectorAll("text,path,rect,line,ellipse")) {
  const b = e.getBBox(); all++;
  if (b.x < -0.1 || b.y < -0.1 || b.x + b.width > 794.1 || b.y + b.height > 1123.1) out++;
}
document.getElementById("told").textContent = out + " of " + all;""")[1]
            self.assertRegex(told, r"^0 of \d{3,}$", scenario)

    def test_rows_of_a_report_are_its_warnings(self):
        for scenario in SCENARIOS:
            with self.subTest(scenario):
                self.replay(scenario, "--report", "@r.json")
                self.replay(scenario, "--report", "@r.csv")
                self.replay(scenario, "--report", "@r.txt")
                warnings = json.loads(self.read("r.json"))["warnings"]
                with open(self.path("r.csv"), encoding="utf-8", newline="") as file:
                    rows = list(csv.DictReader(file, strict=True))
                self.assertEqual([(r["code"], r["severity"], r["reason"], r["remedy"]) for r in rows],
                                 [(w["code"], w["severity"], w["reason"], w["remedy"]) for w in warnings])
                self.assertEqual([int(r["bar"]) if r["bar"] else None for r in rows], [w["bar"] for w in warnings])
                plain = self.read("r.txt")
                self.assertEqual(plain.count("\n    "), 2 * len(warnings))

    def test_the_form_is_the_ending_s_or_the_option_s(self):
        self.replay("run-out", "--report", "@r.odd", "--report-form", "csv")
        self.assertTrue(self.read("r.odd").startswith("onset_s,"))
        self.replay("run-out", "--report", "@r.csv", "--report-form", "json")
        json.loads(self.read("r.csv"))
        self.replay("run-out", "--report", "@r.csv", "--report-form", "yaml", expect=64)
        self.replay("run-out", "--out", "@o.mid", "--report-form", "csv", expect=64)
        self.replay("run-out", "--chart", "@c.png", expect=64)
        self.replay("run-out", "--sheet", "@s.pdf", expect=64)
        self.replay("run-out", "--sheet", "@s.txt", "--report", "@s.txt", expect=64)

    def test_severity_decides_the_exit_status(self):
        for scenario in SCENARIOS:
            self.replay(scenario, "--report", "@r.json")
            severities = json.loads(self.read("r.json"))["totals"]["severities"]
            worse = 0
            for word in ("cannot", "careful", "note"):
                worse += severities[word]
                self.replay(scenario, "--fail-on", word, expect=1 if worse else 0)
        self.replay("run-out", "--fail-on", "error", expect=64)

    def test_the_sheet_fits_a_page_and_names_the_first_entry(self):
        for scenario in SCENARIOS:
            with self.subTest(scenario):
                self.replay(scenario, "--sheet", "@s.txt", "--report", "@r.json")
                self.replay(scenario, "--sheet", "@s.html")
                text, page = self.read("s.txt"), self.read("s.html")
                self.assertLessEqual(len(text.splitlines()), 90)
                self.assertEqual(Balance(page).open, [])
                self.assertIsNone(FETCHES.search(page))
                first = json.loads(self.read("r.json"))["notes"][0]["onset_s"]
                cue = re.search(r"\nCues\n\s+(\d+):(\d\d\.\d)", text)
                self.assertAlmostEqual(60 * int(cue[1]) + float(cue[2]), first, delta=0.11)

    def test_the_sound_has_the_pitches_of_the_notes_and_begins_in_silence(self):
        for scenario in ("slow-song", "low-song"):
            said = self.replay(scenario, "--wav", "@s.wav", "--report", "@r.json").stdout
            self.assertIn("headphones", said)
            sound = lib_sound.Sound(self.path("s.wav"))
            self.assertEqual(sound.rate, 48000)
            self.assertLess(sound.decibels(0, 0.25), -90)
            self.assertLessEqual(sound.peak(), 32768 / 4 + 1)
            for note in json.loads(self.read("r.json"))["notes"]:
                if note["end_s"] - note["onset_s"] < 0.6:
                    continue
                middle = 0.3 + (note["onset_s"] + note["end_s"]) / 2
                self.assertLess(abs(sound.cents_off(lib_sound.hertz(note["pitch"]), middle)), 15, note)
                self.assertGreater(sound.decibels(middle, middle + 0.1), -50, note)

    def test_the_sound_grows_with_the_loudness_that_was_asked(self):
        self.replay("run-out", "--wav", "@s.wav")
        sound = lib_sound.Sound(self.path("s.wav"))
        soft, middle, loud = (sound.decibels(0.3 + t, 0.3 + t + 0.5) for t in (3, 10, 17))
        self.assertGreater(middle, soft + 3)
        self.assertGreater(loud, middle + 3)


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
