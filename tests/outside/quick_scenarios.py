"""The performances of scenarios/ are what make.py writes, other people's reader reads them, and the arm does with each what its
text promises.

Reader: mido.  A note-on with velocity 0 is a note-off (MIDI 1.0 Detailed Specification 4.2.1).  What is promised is common
practice: a bow is finite; short, quick, soft notes leave the string; separate strokes alternate, and a strong beat after a rest
takes a down-bow (E. A. H. Green, 1990, from memory; K. W. Gehrkens, Essentials in Conducting, 1919)."""

import collections
import json
import os
import subprocess
import sys
import tempfile
import unittest

BOWARMD, SOURCE = sys.argv[1], sys.argv[2]
SCENARIOS = os.path.join(SOURCE, "scenarios")

try:
    import mido
except ImportError:  # Debian's package belongs to Debian's interpreter, which need not be the first python3 on the path
    if os.environ.get("BOWARM_SECOND_TRY") or not os.path.exists("/usr/bin/python3"):
        sys.exit("mido is missing; install python3-mido")
    os.environ["BOWARM_SECOND_TRY"] = "1"
    os.execv("/usr/bin/python3", ["/usr/bin/python3", *sys.argv])

SONGS = ("slow-song", "light-feet", "dotted-march", "low-song")
STUDIES = ("slow-swell", "run-out", "at-the-frog", "quickening", "thrown-chord", "tremolo-grows", "every-technique")
NAMES = SONGS + STUDIES
CONTROL_KEYS = range(12, 27)  # of config/bowarm.toml
INSTRUMENT = collections.defaultdict(lambda: "violin", {"low-song": "cello"})
# Open strings, and how far up the hand of an orchestral player goes.
RANGE = {"violin": (55, 100), "cello": (36, 81)}


def path_of(name):
    return os.path.join(SCENARIOS, name + ".mid")


def note_balance(file):
    """Keys that are down at the end, and note-ons in all; a note-off without its note-on is an error."""
    down, started = collections.Counter(), 0
    for message in file:
        if message.type == "note_on" and message.velocity > 0:
            down[message.channel, message.note] += 1
            started += 1
        elif message.type in ("note_on", "note_off"):
            down[message.channel, message.note] -= 1
            assert down[message.channel, message.note] >= 0, message
    return +down, started


class Performances(unittest.TestCase):
    def test_make_writes_them_byte_for_byte(self):
        with tempfile.TemporaryDirectory() as folder:
            subprocess.run([sys.executable, os.path.join(SCENARIOS, "make.py"), folder], check=True, timeout=60)
            self.assertEqual(sorted(os.listdir(folder)), sorted(name + ".mid" for name in NAMES))
            for name in NAMES:
                with open(os.path.join(folder, name + ".mid"), "rb") as new, open(path_of(name), "rb") as kept:
                    self.assertEqual(new.read(), kept.read(), f"{name}.mid: run scenarios/make.py and look at the difference")

    def test_each_has_its_text(self):
        for name in NAMES:
            with open(os.path.join(SCENARIOS, name + ".md"), encoding="utf-8") as file:
                self.assertIn("Listen for:", file.read())

    def test_a_reader_of_others_reads_them(self):
        for name in NAMES:
            with self.subTest(name):
                file = mido.MidiFile(path_of(name))
                self.assertTrue((20 if name in SONGS else 10) <= file.length <= (80 if name == "every-technique" else 40), file.length)
                kinds = collections.Counter(message.type for message in file)
                self.assertGreaterEqual(kinds["set_tempo"], 1)
                self.assertEqual(kinds["time_signature"], 1)
                still_down, started = note_balance(file)
                self.assertEqual((still_down, started >= (10 if name in SONGS else 3)), ({}, True))
                low, high = RANGE[INSTRUMENT[name]]
                self.assertTrue(all(low <= m.note <= high or m.note in CONTROL_KEYS for m in file if m.type == "note_on"))
                self.assertGreater(sum(m.type == "control_change" and m.control == 11 for m in file), 20)  # 11: expression

    def test_a_wrong_command_line_and_a_closed_folder_are_told(self):
        make = [sys.executable, os.path.join(SCENARIOS, "make.py")]
        for code, words in ((64, ["--all"]), (73, ["/nowhere/at/all"])):
            done = subprocess.run(make + words, capture_output=True, text=True, timeout=60)
            self.assertEqual((done.returncode, done.stderr.count("\n")), (code, 1))


class Bowed(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.reports, cls.files = {}, {}
        with tempfile.TemporaryDirectory() as folder:
            for name in NAMES:
                out, report = os.path.join(folder, "out.mid"), os.path.join(folder, "report.json")
                done = subprocess.run(
                    [BOWARMD, "replay", path_of(name), "--config", os.path.join(SOURCE, "config", "bowarm.toml"), "--instrument",
                     INSTRUMENT[name], "--out", out, "--report", report], capture_output=True, text=True, timeout=60)
                assert done.returncode == 0, (name, done.returncode, done.stderr)
                with open(report, encoding="utf-8") as file:
                    cls.reports[name] = json.load(file)
                cls.files[name] = mido.MidiFile(out)

    def notes(self, name):
        return self.reports[name]["notes"]

    def warnings(self, name):
        return collections.Counter(warning["code"] for warning in self.reports[name]["warnings"])

    def test_nothing_is_left_sounding_and_no_note_is_lost(self):
        for name in NAMES:
            with self.subTest(name):
                still_down, _ = note_balance(self.files[name])
                self.assertEqual(still_down, {})
                played = sum(m.type == "note_on" and m.velocity > 0 and m.note not in CONTROL_KEYS for m in mido.MidiFile(path_of(name)))
                self.assertEqual(len(self.notes(name)), played)

    def test_the_hair_is_never_left(self):
        for name in NAMES:
            for note in self.notes(name):
                for place in (note["hair_from"], note["hair_to"]):
                    self.assertTrue(0 <= place <= 1, (name, note))

    def test_slow_song_slurs_and_runs_out_of_hair_on_the_long_note(self):
        notes = self.notes("slow-song")
        shared = [a for a, b in zip(notes, notes[1:]) if a["stroke"] == b["stroke"]]
        self.assertGreaterEqual(len(shared), 3)
        warned = [w for w in self.reports["slow-song"]["warnings"] if w["code"] == "hair-runs-out"]
        long_f = next(note for note in notes if note["pitch"] == 77)
        self.assertTrue(any(long_f["onset_s"] <= w["onset_s"] <= long_f["end_s"] for w in warned), warned)

    def test_light_feet_leave_the_string(self):
        notes = self.notes("light-feet")
        off = [note for note in notes if note["technique"] in ("spiccato", "sautille")]
        self.assertGreater(len(off), len(notes) / 2)
        self.assertGreater(sum(note["technique"] == "spiccato" for note in notes), 10)

    def test_dotted_march_stays_on_the_string_and_begins_down_bow_after_its_rests(self):
        notes = self.notes("dotted-march")
        self.assertEqual([note for note in notes if note["technique"] in ("spiccato", "sautille", "ricochet", "legato")], [])
        bar_s = 4 * 60 / 92
        first = {bar: min(notes, key=lambda note: abs(note["onset_s"] - (bar - 1) * bar_s)) for bar in (1, 5, 9)}
        self.assertEqual([note["bow"] for note in first.values()], ["down"] * 3)
        self.assertGreater(sum(note["hooked"] for note in notes), 15)
        # Two strokes in one direction are a hook, a retake, or one note of two bows before; never an oversight.
        for before, after in zip(notes, notes[1:]):
            if before["bow"] == after["bow"]:
                self.assertTrue(after["hooked"] or after["retake"] or "segments" in before, after)

    def test_slow_swell_spends_its_hair_where_it_is_loud_and_stays_inside_the_limits(self):
        notes = self.notes("slow-swell")
        self.assertEqual({note["schelleng"] for note in notes}, {"inside"})
        for note in notes:
            self.assertGreater(abs(note["hair_to"] - note["hair_from"]), 0.25, note)

    def test_run_out_changes_bow_the_more_the_louder(self):
        changes = [len(note.get("segments", [0])) - 1 for note in self.notes("run-out")]
        self.assertEqual(changes, sorted(changes))
        self.assertGreater(changes[-1], changes[0])

    def test_at_the_frog_takes_down_bow_after_down_bow(self):
        heavy = [note for note in self.notes("at-the-frog") if note["pitch"] < 62]
        self.assertGreater(sum(note["bow"] == "down" and note["hair_from"] < 0.35 for note in heavy), 0.7 * len(heavy))
        self.assertGreater(sum(note["retake"] for note in heavy), len(heavy) / 2)

    def test_quickening_turns_from_spiccato_into_sautille(self):
        words = [note["technique"] for note in self.notes("quickening")]
        self.assertGreater(words.count("spiccato"), 5)
        self.assertGreater(words.count("sautille"), 20)
        self.assertLess(words.index("spiccato"), words.index("sautille"))
        self.assertEqual(self.warnings("quickening"), {})

    def test_thrown_chord_touches_again_by_itself(self):
        ons = sum(m.type == "note_on" and m.velocity > 0 for m in self.files["thrown-chord"])
        self.assertGreater(ons, 3 * len(self.notes("thrown-chord")))

    def test_tremolo_comes_down_from_the_tip_as_it_grows(self):
        places = [note["hair_from"] for note in self.notes("tremolo-grows")]
        self.assertGreater(places[0], 0.7)
        self.assertLess(places[2], places[0])

    def in_bar(self, number):
        """The notes of a bar of every-technique, counted after the one of rest."""
        bar_s = 4 * 60 / 108
        return [note for note in self.notes("every-technique") if bar_s * number - 0.1 < note["onset_s"] < bar_s * (number + 1) - 0.1]

    def sounded(self, bar):
        """Milliseconds, each note."""
        return [1000 * (note["end_s"] - note["onset_s"]) for note in self.in_bar(bar)]

    def test_every_technique_is_played_in_its_bar(self):
        bars = {1: "detache", 2: "legato", 3: "portato", 4: "staccato", 5: "staccato", 6: "staccato", 7: "martele", 8: "marcato",
                9: "spiccato", 10: "spiccato", 11: "sautille", 12: "ricochet", 13: "hooked", 14: "hooked", 15: "detache", 16: "detache",
                17: "flautando", 18: "col-legno-battuto", 19: "col-legno-tratto", 20: "pizzicato", 21: "pizzicato", 22: "pizzicato",
                23: "snap-pizzicato", 24: "tremolo", 25: "legato", 26: "harmonic", 27: "artificial-harmonic", 30: "detache"}
        for bar, technique in bars.items():
            with self.subTest(bar):
                self.assertEqual({note["technique"] for note in self.in_bar(bar)}, {technique})
        self.assertEqual([note["technique"] for note in self.in_bar(28)], ["detache", "left-hand-pizzicato", "detache"])
        self.assertEqual(self.warnings("every-technique"), {"col-legno": 1})

    def test_every_technique_in_one_bow_where_it_should_be(self):
        for bar in (2, 3):
            self.assertEqual(len({note["stroke"] for note in self.in_bar(bar)}), 1, bar)
        self.assertEqual({note["bow"] for note in self.in_bar(6)}, {"up"})
        for bar in (13, 14):
            notes = self.in_bar(bar)
            for first, second in zip(notes[::2], notes[1::2]):
                self.assertEqual(first["bow"], second["bow"])
            self.assertNotEqual(notes[0]["bow"], notes[2]["bow"])
        self.assertTrue(all(note["bow"] == "down" and note["retake"] and note["hair_from"] < 0.3 for note in self.in_bar(32)))

    def test_every_technique_has_its_length_and_place(self):
        self.assertLess(max(self.sounded(5)[1:]), max(self.sounded(4)))
        self.assertGreater(min(self.sounded(8)[1:]), max(self.sounded(4)[1:]))
        self.assertLess(max(self.sounded(18)), 100)
        self.assertEqual([self.in_bar(bar)[0]["zone"] for bar in (1, 15, 16)], ["ordinary", "sul-ponticello", "sul-tasto"])
        self.assertEqual([self.in_bar(bar)[0]["muted"] for bar in (28, 30, 32)], [False, True, False])
        near = lambda bar: sum(note["beta"] for note in self.in_bar(bar)) / len(self.in_bar(bar))
        self.assertTrue(near(15) < near(1) < near(16))
        force = lambda bar: sum(note["force_n"] for note in self.in_bar(bar)) / len(self.in_bar(bar))
        self.assertTrue(force(17) < force(1) / 2 and force(19) < force(1) / 2)

    def test_every_chord_is_raked(self):
        onsets = lambda notes: [note["onset_s"] for note in sorted(notes, key=lambda note: note["pitch"])]
        chords = [self.in_bar(21)[:3], self.in_bar(21)[3:], self.in_bar(22)[:3], self.in_bar(22)[3:6]]
        for chord, rising in zip(chords, (True, False, True, False)):
            self.assertEqual(onsets(chord), sorted(onsets(chord), reverse=not rising))
        self.assertGreater(onsets(chords[0])[-1] - onsets(chords[0])[0], onsets(chords[1])[0] - onsets(chords[1])[-1])

    def test_every_technique_is_selected_in_the_made_up_sampler(self):
        """Its keyswitches latch (config/targets/keyswitch-demo.toml, key 0 upwards in the order of its sections)."""
        switches = {"detache": (0, 1), "legato": (2,), "portato": (3,), "martele": (4,), "marcato": (5, 6), "staccato": (7,),
                    "hooked": (7,), "spiccato": (8,), "sautille": (9,), "ricochet": (10,), "tremolo": (11,), "col-legno-battuto": (12,),
                    "col-legno-tratto": (13,), "pizzicato": (14,), "snap-pizzicato": (15,), "harmonic": (16,), "artificial-harmonic": (17,),
                    "flautando": (18,), "left-hand-pizzicato": (19,)}
        with tempfile.TemporaryDirectory() as folder:
            out, report = os.path.join(folder, "out.mid"), os.path.join(folder, "report.json")
            subprocess.run([BOWARMD, "replay", path_of("every-technique"), "--config", os.path.join(SOURCE, "config", "bowarm.toml"),
                            "--target", "keyswitch-demo", "--out", out, "--report", report], check=True, capture_output=True, timeout=60)
            with open(report, encoding="utf-8") as file:
                notes = json.load(file)["notes"]
            events = list(mido.MidiFile(out))
        latched, now, heard = None, 0.0, []
        for message in events:
            now += message.time
            if message.type != "note_on" or message.velocity == 0:
                continue
            if message.note < 20:
                latched = message.note
            else:
                heard.append((now, message.note, latched))
        for note in notes:
            sounding = min((h for h in heard if h[1] == note["pitch"]), key=lambda h: abs(h[0] - note["onset_s"]))
            self.assertLess(abs(sounding[0] - note["onset_s"]), 0.002)
            self.assertIn(sounding[2], switches[note["technique"]], note)
        self.assertEqual({note["technique"] for note in notes}, set(switches))

    def test_low_song_is_bowed_slower_and_heavier_than_the_violin_sings(self):
        def mean(name, field):
            bowed = [note for note in self.notes(name) if note["bow"]]
            return sum(note[field] for note in bowed) / len(bowed)

        self.assertGreater(mean("low-song", "force_n"), mean("slow-song", "force_n"))


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1] + sys.argv[3:])
