"""The examples of README's "Telling the arm what you want" print what stands there, and wishes, bars and regret hold in what the
real program writes: report, exit code, one line for each refusal.

    quick_wishes.py BINARY SOURCE_DIR [--rewrite]     --rewrite puts what the program prints now into README.md
"""

import json
import os
import subprocess
import sys
import tempfile
import unittest

REWRITE = "--rewrite" in sys.argv
BOWARMD, SOURCE = (os.path.abspath(path) for path in sys.argv[1:3])
README = os.path.join(SOURCE, "README.md")
HEADING = "## Telling the arm what you want"
INDENT = "    "


class Folder:
    """A folder with the scenarios in it, as a person would stand in."""

    def __init__(self):
        self.folder = tempfile.TemporaryDirectory()
        self.path, self.end = self.folder.name, self.folder.cleanup
        os.symlink(os.path.join(SOURCE, "scenarios"), os.path.join(self.path, "scenarios"))

    def write(self, name, text):
        with open(os.path.join(self.path, name), "w", encoding="utf-8") as file:
            file.write(text)

    def report(self, name="report.json"):
        with open(os.path.join(self.path, name), encoding="utf-8") as file:
            return json.load(file)

    def run(self, *words):
        env = {key: value for key, value in os.environ.items() if key not in ("XDG_DATA_HOME", "XDG_DATA_DIRS")}
        env.update(BOWARM_DATA=os.path.join(SOURCE, "config"), XDG_CONFIG_HOME="/nowhere")
        done = subprocess.run([BOWARMD, *words], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=self.path, env=env, timeout=60)
        return done.returncode, done.stdout

    def replay(self, name, *words):
        return self.run("replay", f"scenarios/{name}.mid", "--out", "out.mid", "--report", "report.json", *words)


def played(lines):
    """The lines of an example block as the program prints them: a command each, with its output below."""
    folder, out, index = Folder(), [], 0
    while index < len(lines):
        command = lines[index][len("$ "):].split()
        end = next((i for i in range(index + 1, len(lines)) if lines[i].startswith("$ ")), len(lines))
        out.append(lines[index])
        if command[0] == "cat":
            folder.write(command[1], "\n".join(lines[index + 1:end]) + "\n")
            out += lines[index + 1:end]
        else:
            out += folder.run(*command[1:])[1].splitlines()
        index = end
    folder.end()
    return out


def examples(text):
    """The section's indented blocks that begin with a command, as (first line, line after the last) of the file."""
    lines = text.split("\n")
    start = lines.index(HEADING)
    end = next(i for i in range(start + 1, len(lines)) if lines[i].startswith("## "))
    i = start
    while i < end:
        if lines[i].startswith(INDENT + "$ "):
            first = i
            while lines[i].startswith(INDENT):
                i += 1
            yield first, i
        i += 1


def rewritten(text):
    lines = text.split("\n")
    for first, last in reversed(list(examples(text))):
        block = [line[len(INDENT):] for line in lines[first:last]]
        lines[first:last] = [INDENT + line for line in played(block)]
    return "\n".join(lines)


def held_notes(bars):
    """A Standard MIDI File (RP-001) of as many bars of 4/4 at 30 quarters a minute, a loud note held through each: no bow lasts that long."""
    track = bytes.fromhex("00ff5103 1e8480 00ff580404021808")
    for _ in range(bars):
        track += bytes.fromhex("00904070 8f00804040")  # 15 << 7: 1920 ticks, four quarters
    track += bytes.fromhex("00ff2f00")
    return b"MThd" + bytes.fromhex("00000006 0000 0001 01e0") + b"MTrk" + len(track).to_bytes(4, "big") + track


class Readme(unittest.TestCase):
    def test_the_examples_print_what_stands_there(self):
        with open(README, encoding="utf-8") as file:
            text = file.read()
        self.assertGreaterEqual(len(list(examples(text))), 3)
        self.maxDiff = None
        self.assertEqual(rewritten(text), text, "run tests/outside/quick_wishes.py BINARY SOURCE --rewrite and look at the difference")


class Wishes(unittest.TestCase):
    def setUp(self):
        self.folder = Folder()
        self.addCleanup(self.folder.end)

    def bows(self):
        return {note["index"]: (note["bow"], note["retake"]) for note in self.folder.report()["notes"]}

    def test_wishes_are_obeyed_live_and_with_hindsight(self):
        self.folder.replay("dotted-march")
        before = self.bows()
        other = {"up": "down", "down": "up"}
        strokes = [stroke for stroke in self.folder.report()["strokes"] if stroke["notes"]]
        asked = {stroke["notes"][0]: other[stroke["bow"]] for stroke in strokes[3::7]}
        self.folder.write("w.txt", "".join(f"note {note} {bow}\n" for note, bow in asked.items()))
        for words in ((), ("--hindsight",)):
            code, said = self.folder.replay("dotted-march", "--wishes", "w.txt", *words)
            self.assertEqual((code, said.splitlines()[-1]), (0, f"wishes: {len(asked)} obeyed, 0 refused"))
            for note, bow in asked.items():
                self.assertNotEqual(before[note][0], bow)
                self.assertEqual(self.bows()[note][0], bow)
            self.assertEqual([wish["obeyed"] for wish in self.folder.report()["wishes"]], [True] * len(asked))

    def test_a_refused_wish_is_told_in_one_line_and_the_exit_code_is_1(self):
        self.folder.write("w.txt", "3:1 up\n\n31:2 up\n")
        code, said = self.folder.replay("slow-song", "--wishes", "w.txt")
        self.assertEqual((code, said), (1, "w.txt:3: 31:2 up: refused: no note begins at 31:2\nwishes: 1 obeyed, 1 refused\n"))
        self.assertTrue(os.path.exists(os.path.join(self.folder.path, "out.mid")))
        wishes = self.folder.report()["wishes"]
        self.assertEqual([(wish["line"], wish["obeyed"], wish["reason"]) for wish in wishes],
                         [(1, True, None), (3, False, "no note begins at 31:2")])

    def test_what_is_wrong_is_one_line_with_its_place_and_nothing_is_written(self):
        cases = [
            ("12:3 sideways\n", 65, r"w.txt:1:6: 'sideways' is no wish; write up, down, retake or same-bow"),
            ("3:1 up\n# no:\n3:1 down\n", 65, r"w.txt:3: contradicts line 1, which means the same stroke; keep one of them"),
        ]
        for text, code, line in cases:
            self.folder.write("w.txt", text)
            self.assertEqual(self.folder.replay("slow-song", "--wishes", "w.txt"), (code, line + "\n"))
        for words, code, begin in [
            (("--wishes", "nowhere.txt"), 66, "nowhere.txt: No such file or directory; give the path of a text of wishes"),
            (("--bars", "2"), 64, "bowarmd replay: --bars is of use only with --hindsight"),
            (("--hindsight", "--bars", "5-2"), 64, "bowarmd replay: --bars 5-2 runs backwards; write 2-5"),
            (("--hindsight", "--bars", "two"), 64, "bowarmd replay: --bars needs a bar or a range of bars"),
            (("--hindsight", "--bars", "0-2"), 64, "bowarmd replay: --bars needs a bar or a range of bars"),
            (("--hindsight", "--bars", "50-60"), 64, "bowarmd replay: --bars 50-60: no stroke begins there; scenarios/slow-song.mid has strokes in bars 1 to 8"),
        ]:
            returned, said = self.folder.replay("slow-song", *words)
            self.assertEqual((returned, said.startswith(begin), said.count("\n")), (code, True, 1), said)
        self.assertFalse(os.path.exists(os.path.join(self.folder.path, "out.mid")))

    def test_without_a_time_signature_bars_are_refused_with_what_to_do(self):
        track = bytes.fromhex("00904546 8360804540 00ff2f00")  # one note, nothing else (RP-001)
        with open(os.path.join(self.folder.path, "bare.mid"), "wb") as file:
            file.write(b"MThd" + bytes.fromhex("00000006 0000 0001 01e0") + b"MTrk" + len(track).to_bytes(4, "big") + track)
        self.folder.write("w.txt", "1:1 up\n")
        code, said = self.folder.run("replay", "bare.mid", "--out", "out.mid", "--wishes", "w.txt")
        self.assertEqual((code, "bars are unknown: the file lacks a time signature or a tempo; name the note by its number" in said), (1, True), said)
        code, said = self.folder.run("replay", "bare.mid", "--out", "out.mid", "--hindsight", "--bars", "1")
        self.assertEqual((code, said.startswith("bare.mid: its bars are unknown")), (65, True), said)

    def test_bars_again_change_nothing_outside_them(self):
        self.folder.replay("dotted-march")
        live = self.folder.report()
        self.folder.replay("dotted-march", "--hindsight", "--bars", "2-3")
        again = self.folder.report()
        changed = 0
        for one, other in zip(live["strokes"], again["strokes"], strict=True):
            self.assertEqual((one["onset_s"], one["notes"]), (other["onset_s"], other["notes"]))
            same = (one["bow"], one["retake"]) == (other["bow"], other["retake"])
            self.assertTrue(same or 2 <= one["bar"] <= 3, (one, other))
            changed += not same
        self.assertEqual(changed, again["totals"]["regret_strokes"])
        self.assertGreater(changed, 0)

    def test_the_regret_is_one_number_wherever_it_stands(self):
        for name in ("dotted-march", "slow-swell", "light-feet"):
            self.folder.replay(name)
            live = self.folder.report()["totals"]
            code, said = self.folder.replay(name, "--hindsight")
            again = self.folder.report()["totals"]
            self.assertEqual((live["regret"], live["regret_strokes"]), (again["regret"], again["regret_strokes"]))
            self.assertGreaterEqual(live["regret"], 0)
            self.assertIn(f"regret     {live['regret']:6.1f}, {live['regret_strokes']} stroke", said)

    def test_warnings_are_counted_by_bar(self):
        long = ("piece.mid", "--instrument", "cello")
        with open(os.path.join(self.folder.path, "piece.mid"), "wb") as file:
            file.write(held_notes(40))
        for words in (("scenarios/slow-swell.mid",), long):
            code, said = self.folder.run("replay", *words, "--out", "out.mid", "--report", "report.json", "--hindsight")
            rows = {line[:10].strip(): line[10:].split() for line in said.splitlines()}
            by_bar = [[int(n) for n in row] for word, row in rows.items() if word.startswith(("bar ", "no bar", "others"))]
            self.assertEqual([int(n) for n in rows["warnings"]], [sum(column) for column in zip(*by_bar)])
            self.assertEqual(len(self.folder.report()["warnings"]), int(rows["warnings"][1]))
            self.assertEqual((len(by_bar) == 17, "others" in rows), (words is long, words is long), said)  # a long piece: its 16 worst


if __name__ == "__main__":
    if REWRITE:
        with open(README, encoding="utf-8") as old:
            new_text = rewritten(old.read())
        with open(README, "w", encoding="utf-8") as new:
            new.write(new_text)
    else:
        unittest.main(argv=sys.argv[:1] + sys.argv[3:])
