"""`bowarmd soundcheck --out`: read by mido, each technique's phrase is there with the arm off and with it on, and every
note sounds in the sound that the target file names; it begins softly, and nothing is left sounding.

    quick_soundcheck.py BINARY SOURCE_DIR
"""
import os
import re
import subprocess
import sys
import tempfile
import unittest

try:
    import mido
except ImportError:
    # Debian's packages belong to Debian's own interpreter, which need not be the first on the path.
    if sys.executable != "/usr/bin/python3" and os.path.exists("/usr/bin/python3"):
        os.execv("/usr/bin/python3", ["/usr/bin/python3", *sys.argv])
    raise
import tomllib

BOWARMD, SOURCE = (os.path.abspath(path) for path in sys.argv[1:3])
CONFIG = os.path.join(SOURCE, "config", "bowarm.toml")
TECHNIQUES = ("detache legato portato martele marcato staccato spiccato sautille ricochet hooked tremolo col-legno-battuto "
              "col-legno-tratto pizzicato snap-pizzicato harmonic artificial-harmonic flautando left-hand-pizzicato").split()
LOWEST_NOTE = 28  # of any instrument; keyswitches of the stand-in lie below
KEYS = {"C": 0, "C#": 1, "D": 2, "D#": 3, "E": 4, "F": 5, "F#": 6}  # of the octave -1


def run(*words, config=CONFIG):
    return subprocess.run([BOWARMD, "soundcheck", "--config", config, *words], capture_output=True, text=True, timeout=60)


class Heard:
    """What a sampler with latching keyswitches and programs makes of the file."""

    def __init__(self, path):
        self.notes, self.sounding, keyswitch, program, now = [], {}, None, None, 0.0
        for message in mido.MidiFile(path):
            now += message.time
            if message.type == "program_change":
                program = message.program + 1
            elif message.type == "note_on" and message.velocity > 0 and message.note < LOWEST_NOTE:
                keyswitch = message.note
            elif message.type == "note_on" and message.velocity > 0:
                self.notes.append((now, message.note, message.velocity, keyswitch, program))
                self.sounding[message.note] = self.sounding.get(message.note, 0) + 1
            elif message.type in ("note_off", "note_on") and message.note >= LOWEST_NOTE:
                self.sounding[message.note] -= 1


def heard(target, *words):
    with tempfile.TemporaryDirectory() as folder:
        out = os.path.join(folder, "check.mid")
        done = run("--target", target, "--out", out, *words)
        assert done.returncode == 0, done.stderr
        lines = [re.match(r"(\d\d):(\d\d)  (\S+) +arm (on|off)", line) for line in done.stdout.splitlines()]
        return Heard(out), [(int(m[1]) * 60 + int(m[2]), m[3], m[4]) for m in lines if m]


def way_of(target, technique):
    """Follows the fallbacks as README.md of config/targets says."""
    with open(os.path.join(SOURCE, "config", "targets", target + ".toml"), "rb") as file:
        techniques = tomllib.load(file)["technique"]
    while "fallback" in techniques[technique]:
        technique = techniques[technique]["fallback"]
    return techniques[technique]["switch"]


class Soundcheck(unittest.TestCase):
    def test_every_technique_sounds_as_the_target_file_says(self):
        for technique in TECHNIQUES:
            check, phrases = heard("stand-in", "--technique", technique)
            self.assertEqual([phrase[1:] for phrase in phrases], [(technique, "off"), (technique, "on")])
            switch = way_of("stand-in", technique)["keyswitch"]
            self.assertGreaterEqual(len(check.notes), 4, technique)
            self.assertEqual({note[3] for note in check.notes}, {KEYS[switch.removesuffix("-1")]}, technique)

    def test_programs_too(self):
        # General MIDI level 1: 45 Tremolo Strings, 46 Pizzicato Strings, counted from 1.
        for technique, program in (("tremolo", 45), ("pizzicato", 46), ("detache", 41)):
            check, _ = heard("general-midi", "--technique", technique)
            self.assertEqual({note[4] for note in check.notes}, {program})

    def test_all_is_every_technique_once_off_and_once_on(self):
        check, phrases = heard("stand-in")
        self.assertEqual([phrase[1:] for phrase in phrases], [(t, arm) for t in TECHNIQUES for arm in ("off", "on")])
        for (begin, technique, arm), (end, *_) in zip(phrases, phrases[1:] + [(10_000,)]):
            inside = [n for n in check.notes if begin <= n[0] < end]
            self.assertGreaterEqual(len(inside), 2, f"{technique}, arm {arm}")
        self.assertFalse(any(check.sounding.values()), check.sounding)

    def test_the_arm_off_changes_no_key(self):
        check, phrases = heard("stand-in", "--technique", "detache")
        off = [n for n in check.notes if n[0] < phrases[1][0]]
        on = [n for n in check.notes if n[0] >= phrases[1][0]]
        self.assertEqual([n[1] for n in off], [n[1] for n in on])

    def test_it_begins_softly(self):
        check, phrases = heard("stand-in")
        first = [n[2] for n in check.notes if n[0] < phrases[1][0]]
        self.assertLessEqual(max(first), 40)

    def test_trouble_is_one_line_and_a_fitting_code(self):
        done = run("--technique", "spicato", "--out", "/dev/null")
        self.assertEqual((done.returncode, done.stderr.count("\n")), (64, 1))
        self.assertIn("did you mean 'spiccato'?", done.stderr)
        done = run("--out", "/nowhere/check.mid")
        self.assertEqual((done.returncode, done.stderr.count("\n")), (73, 1))
        with tempfile.NamedTemporaryFile("w", suffix=".toml") as file:
            file.write('version = 1\n[midi]\nsystem = "none"\n[player]\n'
                       f'instrument = "{SOURCE}/config/instruments/violin.toml"\ntarget = "{SOURCE}/config/targets/stand-in.toml"\n')
            file.flush()
            done = run(config=file.name)
        self.assertEqual((done.returncode, done.stderr.count("\n")), (69, 1), done.stderr)
        self.assertIn("Mind your ears", done.stdout)


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
