"""A sampler that speaks late is heard in time: `bowarmd replay --compensate` sends each note so much earlier as the target file says.

It reads the target file with Python's own TOML reader and the two MIDI files, with and without --compensate, with the reader of
lib_midi_file.py; the technique in force it learns from the keyswitches on the wire, what is slurred from the keys that are down,
as a sampler does.  Of each note: sent + what the file states = its musical time within 1 ms, wherever the spacing allows, that
is where the note before is not sent less than 10 ms before it (or less than the hand's distance, where that is shorter) and the
file has begun.  Order, overlaps, values before their notes, lengths and the report stay.

What a speaking delay hangs on (first or slurred, velocity, interval) is common practice, no source.  Tolerance: one tick each of
the two files is 0.26 ms.

usage: quick_speaking_in_time.py BOWARMD SOURCE
"""
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import tomllib
import unittest

import lib_articulated_scores as scores
import lib_midi_file as midi

BOWARMD, SOURCE = sys.argv[1], sys.argv[2]
TEMPO_US = 250_000
NAMES = {name: number for number, name in enumerate(("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"))}


def key_number(name):
    """C4 is 60."""
    letters = name.rstrip("-0123456789")
    return NAMES[letters] + 12 * (int(name[len(letters):]) + 1)


def random_target(rnd, path):
    """keyswitch-demo with other speaking delays, every technique its own."""
    lines = []
    with open(os.path.join(SOURCE, "config", "targets", "keyswitch-demo.toml"), encoding="utf-8") as file:
        shipped = file.readlines()
    for line in shipped:
        if "speaks_" in line:
            continue
        lines.append(line)
        if line.startswith(("switch =", "up =")):
            lines += [f"{key} = {rnd.uniform(0, most):.4f}\n" for key, most in
                      (("speaks_after_s", 0.12), ("connected_speaks_after_s", 0.2), ("softest_speaks_later_s", 0.05),
                       ("octave_speaks_later_s", 0.04)) if rnd.random() < 0.8]
    with open(path, "w", encoding="utf-8") as file:
        file.writelines(lines)


def stated(path):
    """keyswitch -> the table of its technique."""
    with open(path, "rb") as file:
        techniques = tomllib.load(file)["technique"]
    return {key_number(table[way]["keyswitch"]): table for table in techniques.values() for way in ("switch", "down", "up")
            if way in table}


def delay_of(table, velocity, interval):
    first = table.get("speaks_after_s", 0.0)
    late = first if interval is None else table.get("connected_speaks_after_s", first)
    late += table.get("softest_speaks_later_s", 0.0) * (127 - velocity) / 126
    if interval is not None:
        late += table.get("octave_speaks_later_s", 0.0) * min(abs(interval), 24) / 12
    return min(late, 0.5)


def performance(seed):
    instrument, quarter_s, notes = scores.performance(seed)
    tick = lambda seconds: round(seconds * 1e6 / TEMPO_US * midi.TICKS)
    rnd = random.Random(seed)
    events = [(tick(rnd.uniform(0, notes[-1]["off"])), 1, bytes([0xB0, 11, rnd.randrange(20, 110)])) for _ in range(len(notes) // 2)]
    for note in notes:
        events.append((tick(note["on"]), 2, bytes([0x90, note["pitch"], note["velocity"]])))
        events.append((max(tick(note["off"]), tick(note["on"]) + 1), 0, bytes([0x80, note["pitch"], 64])))
    return instrument, [(at, data) for at, _, data in sorted(events, key=lambda e: e[:2])]


class Sent:
    """One file as a sampler gets it: its notes in order, each with what was in force when it was struck."""

    def __init__(self, path, tables):
        self.notes, self.order, self.first_tick = [], [], None
        values, down, table = {}, {}, {}
        for tick, m in midi.channel_messages(path):
            at = tick / 960 * TEMPO_US / 1e6
            self.first_tick = tick if self.first_tick is None else self.first_tick
            if m[0] & 0xF0 == 0xB0:
                values[m[1]] = m[2]
            if m[0] & 0xF0 not in (0x80, 0x90):
                continue
            struck = not midi.is_note_off(m)
            if m[1] in tables:
                table = tables[m[1]] if struck else table
                continue
            self.order.append((m[1], struck))
            if struck:
                newest = max(down.values(), key=lambda n: n["number"], default=None)
                self.notes.append({"number": len(self.notes), "at": at, "pitch": m[1], "velocity": m[2], "values": dict(values),
                                   "technique": table, "interval": None if newest is None else m[1] - newest["pitch"],
                                   "over": sorted(down)})
                down[m[1]] = self.notes[-1]
            else:
                down.pop(m[1])["end"] = at
        assert not down, down


class InTime(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.mkdtemp()
        cls.config = os.path.join(cls.folder, "config")
        shutil.copytree(os.path.join(SOURCE, "config"), cls.config)

    @classmethod
    def tearDownClass(cls):
        shutil.rmtree(cls.folder)

    def replay(self, source, target, instrument, *more):
        out, report = (os.path.join(self.folder, name) for name in ("out.mid", "report.json"))
        done = subprocess.run([BOWARMD, "replay", source, "--config", os.path.join(self.config, "bowarm.toml"), "--instrument",
                               instrument, "--target", target, "--out", out, "--report", report, *more],
                              capture_output=True, text=True, timeout=60)
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        with open(report, encoding="utf-8") as file:
            return Sent(out, stated(target)), json.load(file)

    def both(self, seed):
        target, source = os.path.join(self.folder, "late.toml"), os.path.join(self.folder, "in.mid")
        random_target(random.Random(seed), target)
        instrument, events = performance(seed)
        midi.write(source, events, tempo_us=TEMPO_US)
        return self.replay(source, target, instrument), self.replay(source, target, instrument, "--compensate")

    def test_every_note_is_heard_at_its_time(self):
        notes, slurred, allowed, moved = 0, 0, 0, 0
        for seed in range(70_000, 70_024):
            (plain, report), (early, same) = self.both(seed)
            self.assertEqual(report["notes"], same["notes"])
            self.assertEqual(report["warnings"], same["warnings"])
            self.assertEqual([(n["pitch"], n["velocity"], n["over"], n["values"]) for n in plain.notes],
                             [(n["pitch"], n["velocity"], n["over"], n["values"]) for n in early.notes])
            self.assertEqual(plain.order, early.order)
            before = None
            for music, note in zip(plain.notes, early.notes):
                late = delay_of(note["technique"], note["velocity"], note["interval"])
                wanted = music["at"] - late
                earliest = max(0.0, 0.0 if before is None else before[1] + min(0.010, music["at"] - before[0]))
                self.assertAlmostEqual(note["at"], max(wanted, earliest), delta=0.001, msg=(seed, music, note))
                allowed += wanted >= earliest
                if wanted >= earliest:
                    self.assertAlmostEqual(note["at"] + late, music["at"], delta=0.001)
                moved += note["at"] < music["at"] - 0.010
                before = music["at"], note["at"]
                slurred += note["interval"] is not None
                notes += 1
            self.lengths(plain, early)
        self.assertGreater(notes, 4_000)
        self.assertGreater(slurred, 300)
        self.assertGreater(moved, 0.8 * notes)  # some techniques are given no delay
        self.assertGreater(allowed, 0.9 * notes)
        print(f"{notes} notes, {slurred} slurred, in time {100 * allowed / notes:.1f} %, the others as near as the note before lets them")

    def lengths(self, plain, early):
        """An end goes with its note, with the note it is slurred to, or just before the next one, where that has to be sooner."""
        following = early.notes[1:] + [None]
        for music, note, after in zip(plain.notes, early.notes, following):
            length = note["end"] - note["at"]
            if abs(length - (music["end"] - music["at"])) <= 0.001:
                continue
            self.assertIsNotNone(after)
            self.assertAlmostEqual(note["end"], after["at"], delta=0.0026)  # a millisecond and three ticks at the most

    def test_nothing_stands_before_the_beginning(self):
        target, source = os.path.join(self.folder, "late.toml"), os.path.join(self.folder, "first.mid")
        random_target(random.Random(1), target)
        on, off = bytes([0x90, 69, 80]), bytes([0x80, 69, 64])
        midi.write(source, [(0, on), (960, off), (2000, on), (2960, off)], tempo_us=TEMPO_US)
        early, _ = self.replay(source, target, "violin", "--compensate")
        plain, _ = self.replay(source, target, "violin")
        late = delay_of(early.notes[1]["technique"], early.notes[1]["velocity"], None)
        self.assertGreater(late, 0.0)
        self.assertEqual(early.notes[0]["at"], 0.0)
        self.assertAlmostEqual(early.notes[1]["at"], plain.notes[1]["at"] - late, delta=0.001)

    def test_a_fixed_delay_does_the_same_that_much_later(self):
        target, source = os.path.join(self.folder, "late.toml"), os.path.join(self.folder, "in.mid")
        random_target(random.Random(3), target)
        instrument, events = performance(70_100)
        midi.write(source, [(at + 1920, data) for at, data in events], tempo_us=TEMPO_US)
        late_config = os.path.join(self.folder, "config", "bowarm.toml")
        with open(late_config, encoding="utf-8") as file:
            text = file.read()
        try:
            with open(late_config, "w", encoding="utf-8") as file:
                file.write(text.replace("delay_s = 0.0", "delay_s = 0.4", 1))
            delayed, report = self.replay(source, target, instrument)
            early, same = self.replay(source, target, instrument, "--compensate")
        finally:
            with open(late_config, "w", encoding="utf-8") as file:
                file.write(text)
        self.assertEqual(report["notes"], same["notes"])
        self.assertEqual(delayed.order, early.order)
        for one, other in zip(delayed.notes, early.notes):
            self.assertAlmostEqual(one["at"], other["at"] + 0.4, delta=0.001)


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
