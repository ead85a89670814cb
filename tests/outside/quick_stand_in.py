"""The stand-in sampler has the flaws it says it has, and no others: it is in tune, rises with its controller, never clips, and
plays the same file alike each time.

    quick_stand_in.py BINARY SOURCE_DIR      the stand-in lies beside the binary
"""
import os
import subprocess
import sys
import tempfile
import unittest

import lib_midi_file as midi
from lib_sound import Sound, hertz

STAND_IN = os.path.join(os.path.dirname(os.path.abspath(sys.argv[1])), "bowarm-stand-in")
DETACHE, LEGATO, STACCATO, SPICCATO, MARCATO, TREMOLO, PIZZICATO = range(7)
TICKS_A_SECOND = 960  # at 120 quarters a minute


def run(*words):
    return subprocess.run([STAND_IN, *words], capture_output=True, text=True, timeout=110)


class Score:
    """Experiments one after the other in one file, since rendering the sounds takes longer than playing them."""

    def __init__(self):
        self.events, self.now = [], 0.0

    def at(self, seconds, *data):
        self.events.append((round(seconds * TICKS_A_SECOND), bytes(data)))

    def note(self, start, end, key, velocity=90):
        self.at(start, 0x90, key, velocity)
        self.at(end, 0x80, key, 64)

    def experiment(self, seconds, switch, loudness=90):
        """Its own stretch of time; answers where that begins, the technique chosen a tenth of a second before."""
        start = self.now + 0.2
        self.at(self.now + 0.1, 0x90, switch, 1)
        self.at(self.now + 0.1, 0x80, switch, 1)
        self.at(self.now + 0.1, 0xB0, 11, loudness)
        self.now = start + seconds + 0.5
        return start

    def play(self, *options):
        with tempfile.TemporaryDirectory() as folder:
            path, out = os.path.join(folder, "in.mid"), os.path.join(folder, "out.wav")
            midi.write(path, self.events, end_tick=round(self.now * TICKS_A_SECOND))
            done = run(path, "--out", out, *options)
            assert done.returncode == 0, done.stderr
            with open(out, "rb") as file:
                return Sound(out), file.read()


LOUDNESSES = range(7, 128, 12)
PITCHES = (55, 57, 62, 68, 69, 76, 81, 88, 93, 96)
SHORT = {STACCATO: 0.35, SPICCATO: 0.3, PIZZICATO: 0.9}  # seconds, as config/targets/stand-in.toml says


class StandIn(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        score = Score()
        cls.levels, cls.pitches, cls.short, cls.long = {}, {}, {}, {}
        for loudness in LOUDNESSES:
            cls.levels[loudness] = score.experiment(0.6, DETACHE, loudness)
            score.note(cls.levels[loudness], cls.levels[loudness] + 0.6, 69)
        for key in PITCHES:
            cls.pitches[key] = score.experiment(0.34, DETACHE)
            score.note(cls.pitches[key], cls.pitches[key] + 0.34, key)
        for switch in SHORT:
            cls.short[switch] = score.experiment(2.0, switch)
            score.note(cls.short[switch], cls.short[switch] + 2.0, 67)
        for switch in (DETACHE, LEGATO, MARCATO, TREMOLO):
            cls.long[switch] = score.experiment(4.0, switch)
            score.note(cls.long[switch], cls.long[switch] + 4.0, 67)
        cls.hard = score.experiment(0.2, SPICCATO)
        cls.soft = score.experiment(0.2, SPICCATO)
        score.note(cls.hard, cls.hard + 0.1, 69, 127)
        score.note(cls.soft, cls.soft + 0.1, 69, 20)
        cls.slur = score.experiment(1.0, LEGATO)
        score.note(cls.slur, cls.slur + 0.52, 69, 1)
        score.note(cls.slur + 0.5, cls.slur + 1.0, 76, 1)
        cls.parted = score.experiment(1.0, DETACHE)
        score.note(cls.parted, cls.parted + 0.5, 69, 1)
        score.note(cls.parted + 0.5, cls.parted + 1.0, 76, 1)
        cls.tutti = score.experiment(1.0, DETACHE, 127)
        for key in range(55, 103, 3):
            score.note(cls.tutti, cls.tutti + 1.0, key, 127)
        cls.score = score
        cls.sound, cls.file = score.play()

    def test_louder_with_the_controller(self):
        levels = [self.sound.decibels(start + 0.25, start + 0.55) for start in self.levels.values()]
        self.assertTrue(all(low < high for low, high in zip(levels, levels[1:])), levels)
        self.assertGreater(levels[-1] - levels[0], 20)

    def test_in_tune(self):
        # A trained ear hears some 5 cents (common practice, no source).
        for key, start in self.pitches.items():
            self.assertLess(abs(self.sound.cents_off(hertz(key), start + 0.2)), 5, f"key {key}")

    def test_short_sounds_die_under_a_held_key(self):
        for switch, seconds in SHORT.items():
            start = self.short[switch]
            self.assertGreater(self.sound.decibels(start, start + 0.1), -45, f"switch {switch}")
            self.assertLess(self.sound.decibels(start + seconds + 0.05, start + 2.0), -70, f"switch {switch}")

    def test_others_sound_on(self):
        for switch, start in self.long.items():
            early, late = (self.sound.decibels(start + at, start + at + 0.5) for at in (1.0, 3.4))
            self.assertLess(abs(early - late), 3, f"switch {switch}")
            self.assertLess(self.sound.decibels(start + 4.3, start + 4.5), -60, f"switch {switch}: rings on")

    def test_velocity_is_the_loudness_of_short_sounds(self):
        loud, soft = (self.sound.decibels(start, start + 0.1) for start in (self.hard, self.soft))
        self.assertGreater(loud - soft, 12)

    def test_a_slur_speaks_late(self):
        new = lambda start, at: self.sound.strength(hertz(76), start + 0.5 + at, start + 0.5 + at + 0.06)
        whole = new(self.slur, 0.3)
        self.assertLess(new(self.slur, 0.03), whole * 0.15)
        self.assertGreater(new(self.slur, 0.18), whole * 0.5)
        self.assertGreater(new(self.parted, 0.06), new(self.parted, 0.3) * 0.5)

    def test_nothing_is_cut_off(self):
        self.assertLess(self.sound.peak(), 32500)
        self.assertGreater(self.sound.decibels(self.tutti + 0.3, self.tutti + 0.9), -15)
        one = self.sound.part(self.levels[127], self.levels[127] + 0.6)
        self.assertLess(max(map(abs, one)), 16384, "one loud note leaves room for others")

    def test_alike_each_time(self):
        self.assertEqual(self.score.play()[1], self.file)

    def test_one_instant_may_come_in_another_order(self):
        score, starts = Score(), []
        for i in range(12):
            start = score.now + 0.2
            score.at(start, 0x90, (DETACHE, SPICCATO)[i % 2], 1)
            score.note(start, start + 0.8, 69)
            starts.append(start)
            score.now = start + 1.2
        sounds_on = lambda sound: [sound.decibels(s + 0.5, s + 0.7) > -60 for s in starts]
        wanted = [i % 2 == 0 for i in range(12)]
        self.assertEqual(sounds_on(score.play()[0]), wanted)
        self.assertNotEqual(sounds_on(score.play("--reorder", "1")[0]), wanted)

    def test_trouble_is_one_line_and_a_fitting_code(self):
        for words, code in ((("--instrument", "lute"), 64), (("a.mid",), 64), (("--what",), 64), (("--reorder", "x"), 64),
                            (("/nowhere/a.mid", "--out", "/tmp/a.wav"), 66), ((__file__, "--out", "/tmp/a.wav"), 65)):
            done = run(*words)
            self.assertEqual(done.returncode, code, words)
            self.assertEqual(done.stderr.count("\n"), 1, done.stderr)


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
