"""A take becomes a part, and its marks come back as wishes: every bar of the MusicXML is full, ties and slurs are whole, the compressed
form holds the same, a part given back as wishes bows the take again to the same bytes, and a changed mark changes the bow.
Read with Python's own XML and ZIP.  With BOWARM_MUSICXML_XSD=FOLDER (musicxml.xsd of MusicXML 4.0 with the two schemas it imports; they
are not in this repository) each part is also validated with xmllint.

    quick_bowed_part.py BINARY SOURCE_DIR
"""
import os
import pathlib
import random
import struct
import subprocess
import sys
import tempfile
import unittest
import xml.etree.ElementTree as ET
import zipfile

import lib_midi_file as midi

BOWARMD, SOURCE = (os.path.abspath(path) for path in sys.argv[1:3])
XSD = os.environ.get("BOWARM_MUSICXML_XSD")
SCENARIOS = {"slow-song": "violin", "dotted-march": "violin", "light-feet": "violin", "every-technique": "violin", "low-song": "cello",
             "at-the-frog": "violin", "run-out": "violin", "thrown-chord": "violin", "tremolo-grows": "violin"}
FIGURES = [[0.25] * 4, [0.5, 0.5], [1], [1 / 3] * 3, [0.75, 0.25], [2], [1.5, 0.5], [-1], [-2], [2 / 3] * 3, [4 / 3] * 3, [9]]


def random_performance(path, seed):
    """Runs, dotted figures, triplets over one, two and four beats, notes longer than the hair, and rests, slurred and not, with 10 ms of
    spread; a rest is a negative length."""
    hand = random.Random(seed)
    events, now = [], 0
    for _ in range(60):
        slurred = hand.random() < 0.4
        for length in hand.choice(FIGURES):
            if length < 0:
                now -= length
                continue
            key = hand.randint(55, 84)
            on = max(0, now + hand.gauss(0, 0.02))
            off = now + length * (1.05 if slurred else 0.88)
            events += [(int(on * 480), bytes([0x90, key, hand.randint(50, 100)])), (int(off * 480), bytes([0x80, key, 64]))]
            now += length
    midi.write(path, sorted(events, key=lambda e: (e[0], e[1][0] == 0x90)))


def note(begin, length, key, velocity=80):
    """In quarters."""
    return [(int(begin * 480), bytes([0x90, key, velocity])), (int((begin + length) * 480), bytes([0x80, key, 64]))]


def tempo(begin, quarters_a_minute):
    return [(int(begin * 480), b"\xff\x51\x03" + struct.pack(">I", round(60e6 / quarters_a_minute))[1:])]


def key_signature(begin, sharps):
    return [(int(begin * 480), b"\xff\x59\x02" + struct.pack(">bB", sharps, 0))]


class BowedPart(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = folder.name
        if XSD:  # the schema imports two others by their addresses
            known = "".join(f'<system systemId="http://www.musicxml.org/xsd/{name}.xsd" uri="file://{os.path.abspath(XSD)}/{name}.xsd"/>'
                            for name in ("xml", "xlink"))
            self.write("catalog.xml", f'<catalog xmlns="urn:oasis:names:tc:entity:xmlns:xml:catalog">{known}</catalog>'.encode())

    def read(self, name):
        return pathlib.Path(self.path(name)).read_bytes()

    def write(self, name, data):
        pathlib.Path(self.path(name)).write_bytes(data)

    def path(self, name):
        return os.path.join(self.folder, name)

    def run_it(self, source, *words):
        env = dict(os.environ, BOWARM_DATA=os.path.join(SOURCE, "config"), XDG_CONFIG_HOME="/nowhere")
        out = self.path("out.mid")
        done = subprocess.run([BOWARMD, "replay", source, "--out", out, *words], capture_output=True, text=True, env=env, timeout=60)
        return done.returncode, done.stdout, done.stderr, self.read("out.mid") if os.path.exists(out) else b""

    def check_document(self, path):
        root = ET.parse(path).getroot()
        self.assertEqual((root.tag, root.get("version")), ("score-partwise", "4.0"))
        divisions, length = None, None
        tied, slurs = set(), 0
        for measure in root.find("part").findall("measure"):
            divisions = int(measure.findtext("attributes/divisions") or divisions)
            beats = measure.findtext("attributes/time/beats")
            if beats:
                length = divisions * 4 * int(beats) // int(measure.findtext("attributes/time/beat-type"))
            filled = 0
            for note in measure.findall("note"):
                if note.find("chord") is None and note.find("grace") is None:
                    filled += int(note.findtext("duration"))
                pitch = tuple(note.findtext("pitch/" + what) for what in ("step", "alter", "octave"))
                kinds = [tie.get("type") for tie in note.findall("tie")]
                if "stop" in kinds:
                    self.assertIn(pitch, tied)
                    tied.discard(pitch)
                if "start" in kinds:
                    tied.add(pitch)
                for slur in note.findall("notations/slur"):
                    slurs += 1 if slur.get("type") == "start" else -1
                    self.assertIn(slurs, (0, 1))
            self.assertEqual(filled, length, f"bar {measure.get('number')} of {path}")
        self.assertFalse(tied)
        self.assertEqual(slurs, 0)
        if XSD:
            done = subprocess.run(["xmllint", "--noout", "--nonet", "--schema", os.path.join(XSD, "musicxml.xsd"), path], capture_output=True,
                                  env=dict(os.environ, XML_CATALOG_FILES=self.path("catalog.xml")))
            self.assertEqual(done.returncode, 0, done.stderr)
        return root

    def check_round_trip(self, source, *words):
        part = self.path("part.musicxml")
        code, _, err, sent = self.run_it(source, "--part", part, *words)
        self.assertEqual((code, err), (0, ""))
        root = self.check_document(part)
        code, said, err, again = self.run_it(source, "--wishes", part, *words)
        self.assertEqual((code, err), (0, ""), said)
        self.assertEqual(sent, again)
        return root

    def test_scenarios_are_bowed_the_same_by_their_own_parts(self):
        for name, instrument in SCENARIOS.items():
            with self.subTest(name):
                self.check_round_trip(os.path.join(SOURCE, "scenarios", name + ".mid"), "--instrument", instrument)

    def test_random_performances_are_bowed_the_same_by_their_own_parts(self):
        for seed in range(12):
            with self.subTest(seed=seed):
                random_performance(self.path("in.mid"), seed)
                self.check_round_trip(self.path("in.mid"), "--instrument", "violin")

    def test_the_compressed_part_is_the_same_document(self):
        source = os.path.join(SOURCE, "scenarios", "dotted-march.mid")
        self.run_it(source, "--part", self.path("part.musicxml"))
        _, _, _, sent = self.run_it(source, "--part", self.path("part.mxl"))
        with zipfile.ZipFile(self.path("part.mxl")) as archive:
            self.assertIsNone(archive.testzip())
            self.assertEqual(archive.namelist()[0], "mimetype")
            root = ET.fromstring(archive.read("META-INF/container.xml")).find("rootfiles/rootfile").get("full-path")
            self.assertEqual(archive.read(root), self.read("part.musicxml"))
        # Another program's archive of the same document.
        with zipfile.ZipFile(self.path("other.mxl"), "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("META-INF/container.xml", "<container><rootfiles><rootfile full-path='a/b.xml'/></rootfiles></container>")
            archive.write(self.path("part.musicxml"), "a/b.xml")
        code, _, _, again = self.run_it(source, "--wishes", self.path("other.mxl"))
        self.assertEqual((code, again), (0, sent))

    def test_a_changed_mark_changes_the_bow(self):
        source = os.path.join(SOURCE, "scenarios", "slow-song.mid")
        self.run_it(source, "--part", self.path("part.musicxml"))
        text = self.read("part.musicxml")
        self.write("up.musicxml", text.replace(b"down-bow", b"up-bow", 1))
        code, _, _, _ = self.run_it(source, "--wishes", self.path("up.musicxml"), "--part", self.path("again.musicxml"))
        self.assertIn(code, (0, 1))
        again = ET.parse(self.path("again.musicxml")).getroot()
        self.assertIsNotNone(next(again.iter("note")).find("notations/technical/up-bow"))

    def test_a_bass_is_written_an_octave_up_and_a_viola_in_its_clef(self):
        midi.write(self.path("in.mid"), midi.scale([50, 52, 53, 55]))
        for instrument, sign, octave, shift in (("double-bass", None, "4", "-1"), ("viola", "C", "3", None)):
            self.run_it(self.path("in.mid"), "--part", self.path("part.musicxml"), "--instrument", instrument)
            root = self.check_document(self.path("part.musicxml"))
            self.assertEqual(next(root.iter("octave")).text, octave)
            self.assertEqual(root.findtext(".//octave-change"), shift)
            if sign:
                self.assertEqual(root.findtext(".//clef/sign"), sign)

    def test_numbers_letters_long_rests_and_cues(self):
        notes = midi.scale([60, 62, 64, 65]) + [(t + 10 * 1920, m) for t, m in midi.scale([60, 62, 64, 65])]
        midi.write(self.path("in.mid"), notes)
        midi.write(self.path("flute.mid"), midi.scale([72, 74] * 40))
        self.run_it(self.path("in.mid"), "--part", self.path("part.musicxml"), "--first-bar", "101", "--rehearsal", "102,111", "--cue",
                    self.path("flute.mid"))
        root = self.check_document(self.path("part.musicxml"))
        numbers = [m.get("number") for m in root.iter("measure")]
        self.assertEqual(numbers, [str(n) for n in range(101, 112)])
        self.assertEqual([r.text for r in root.iter("rehearsal")], ["A", "B"])
        self.assertEqual([r.text for r in root.iter("multiple-rest")], ["8"])
        cued = [m.get("number") for m in root.iter("measure") if m.find("note/cue") is not None]
        self.assertEqual(cued, ["110"])

    def part_of(self, events, *words):
        midi.write(self.path("in.mid"), sorted(events, key=lambda e: (e[0], e[1][0] == 0x90)))
        return self.check_round_trip(self.path("in.mid"), "--instrument", "violin", *words)

    def test_a_bow_that_changes_under_a_held_note_is_printed(self):
        """Sixteen quarters at 120 are 8 s: more than any bow; the next note is slurred to it.  Common practice of editors, no source."""
        root = self.part_of(note(0, 16.05, 62) + note(16, 2, 64) + note(18, 1, 66))
        notes = list(root.iter("note"))
        changes = [n for n in notes if "stop" in [t.get("type") for t in n.findall("tie")] and n.find("notations/technical") is not None]
        self.assertTrue(changes)
        bows = [b.tag for n in notes for b in n.findall("notations/technical/*")]
        for one, other in zip(bows, bows[1:]):
            self.assertNotEqual(one, other)
        slurred = [n for n in notes if n.find("notations/slur") is not None]
        self.assertEqual([n.find("notations/slur").get("type") for n in slurred], ["start", "stop"])
        self.assertIs(slurred[0], changes[-1])

    def test_tempos_that_settle_are_written_and_jitter_is_not(self):
        """A rallentando and a wandering beat get no marks of their own."""
        hand = random.Random(1)
        events = [e for i in range(96) for e in note(i, 0.9, 60 + i % 12)]
        events += [e for i in range(32) for e in tempo(i, 100 * hand.uniform(0.985, 1.015))]
        events += tempo(32, 144) + [e for i in range(8) for e in tempo(56 + i, 144 - 8 * i)] + tempo(64, 80.4)
        root = self.part_of(events)
        marks = [(m.get("number"), d.findtext(".//per-minute")) for m in root.iter("measure") for d in m.findall("direction")
                 if d.find(".//metronome") is not None]
        self.assertEqual([m for m, _ in marks], ["1", "9", "17"])
        self.assertIn(int(marks[0][1]), range(97, 104))
        self.assertEqual([rate for _, rate in marks[1:]], ["144", "80"])

    def test_key_signatures_change_where_the_file_says(self):
        events = [e for i in range(32) for e in note(i, 0.9, 62 + (0, 2, 4, 5)[i % 4])]
        root = self.part_of(events + key_signature(0, 2) + key_signature(16, -3) + key_signature(20, -3))
        keys = [(m.get("number"), m.findtext("attributes/key/fifths")) for m in root.iter("measure")]
        self.assertEqual([k for k in keys if k[1]], [("1", "2"), ("5", "-3")])

    def test_quarters_in_three_are_one_tuplet_and_rests_in_it_have_its_time(self):
        root = self.part_of([e for bar in range(4) for e in note(bar * 4, 0.9, 62) + note(bar * 4 + 1, 0.9, 64) +
                             note(bar * 4 + 2 + 2 / 3, 0.6, 65) + note(bar * 4 + 2 + 4 / 3, 0.6, 67)])
        in_three = [n for n in root.iter("note") if n.find("time-modification") is not None]
        self.assertEqual(sum(int(n.findtext("duration")) for n in in_three), 4 * 2 * 480)
        for n in in_three:
            self.assertEqual((n.findtext("time-modification/actual-notes"), n.findtext("time-modification/normal-type")), ("3", "quarter"))
        self.assertEqual(len(root.findall(".//tuplet[@type='start']")), 4)

    def test_one_part_of_a_score_is_chosen_by_name_or_number(self):
        source = os.path.join(SOURCE, "scenarios", "dotted-march.mid")
        self.run_it(source, "--part", self.path("part.musicxml"))
        text = self.read("part.musicxml").decode()
        at = text.index("<part id=")
        flute = '<part id="P0"><measure number="1"><note><rest measure="yes"/><duration>4</duration></note></measure></part>'
        text = text[:at] + flute + text[at:]
        self.write("score.musicxml", text.replace("<part-list>", '<part-list><score-part id="P0"><part-name>Flute</part-name></score-part>', 1).encode())
        wanted = self.run_it(source, "--wishes", self.path("part.musicxml"))
        self.assertIn("obeyed", wanted[1])
        for words in (["2"], ["Violin"], ["Violin", "--wishes-staff", "1", "--wishes-voice", "1"]):
            self.assertEqual(self.run_it(source, "--wishes", self.path("score.musicxml"), "--wishes-part", *words), wanted)
        for words, said in ((["Cello"], "has no part Cello; it has 1 Flute, 2 Violin"), (["2", "--wishes-staff", "2"], "has no staff 2"),
                            (["2", "--wishes-voice", "4"], "has no voice 4 on this staff; it has 1")):
            code, _, err, _ = self.run_it(source, "--wishes", self.path("score.musicxml"), "--wishes-part", *words)
            self.assertEqual((code, err.count("\n")), (65, 1), err)
            self.assertIn(said, err)
        for words in (["--wishes-part", "2"], ["--wishes", self.path("score.musicxml"), "--wishes-staff", "x"]):
            code, _, err, _ = self.run_it(source, *words)
            self.assertEqual((code, err.count("\n")), (64, 1), err)

    def test_without_a_tempo_the_part_says_that_its_beats_are_estimated(self):
        data = pathlib.Path(SOURCE, "scenarios", "dotted-march.mid").read_bytes()
        self.write("in.mid", data.replace(b"\xff\x51\x03", b"\xff\x7f\x03").replace(b"\xff\x58\x04", b"\xff\x7f\x04"))
        self.run_it(self.path("in.mid"), "--part", self.path("part.musicxml"))
        root = self.check_document(self.path("part.musicxml"))
        self.assertIn("beats estimated from the playing", [w.text for w in root.iter("words")])

    def test_nothing_played_and_tempos_that_nobody_plays_still_make_a_document(self):
        midi.write(self.path("in.mid"), [], end_tick=960)
        self.run_it(self.path("in.mid"), "--part", self.path("part.musicxml"))
        self.assertIsNotNone(self.check_document(self.path("part.musicxml")).find(".//rest"))
        midi.write(self.path("in.mid"), midi.scale([60, 62] * 10, ticks=400_000_000 // 20, sounding=1_000_000), tempo_us=1)
        code, _, err, _ = self.run_it(self.path("in.mid"), "--part", self.path("part.musicxml"))
        self.assertEqual((code, err), (0, ""))
        self.assertIn("only the first 50000 bars", [w.text for w in ET.parse(self.path("part.musicxml")).getroot().iter("words")])

    def test_what_is_no_part_is_refused_in_one_line(self):
        source = os.path.join(SOURCE, "scenarios", "slow-song.mid")
        bomb = "<!DOCTYPE s [<!ENTITY a '&b;&b;'><!ENTITY b '" + "x" * 1000 + "'>]><score-partwise><a>&a;</a></score-partwise>"
        for name, data in (("a.musicxml", b"<html></html>"), ("b.musicxml", b"<score-partwise><part>"), ("c.mxl", b"PK\x03\x04"),
                           ("d.xml", bomb.encode()), ("e.xml", b"<a>" * 100000)):
            self.write(name, data)
            code, said, err, _ = self.run_it(source, "--wishes", self.path(name))
            self.assertEqual((code, said), (65, ""), name)
            self.assertEqual(err.count("\n"), 1, err)
            self.assertIn(name, err)
        for words in (["--first-bar", "3"], ["--part", self.path("p.xml"), "--rehearsal", "x"], ["--part", source]):
            code, _, err, _ = self.run_it(source, *words)
            self.assertEqual((code, err.count("\n")), (64, 1), err)


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
