"""What the papers of a long take cost: 3 hours, 100,000 notes.  Prints seconds of a core, seconds on the wall and the most memory.

    papers.py BOWARMD SOURCE_DIR
"""
import os
import pathlib
import random
import subprocess
import sys
import tempfile
import time

BOWARMD, SOURCE = (os.path.abspath(path) for path in sys.argv[1:3])
sys.path.insert(0, os.path.join(SOURCE, "tests", "outside"))
import lib_midi_file as midi  # noqa: E402

ENVIRONMENT = dict(os.environ, BOWARM_DATA=os.path.join(SOURCE, "config"), XDG_CONFIG_HOME="/nowhere")
NOTES, QUARTERS = 100_000, 3 * 3600 * 2  # at 120
FIGURES = [[0.25] * 4, [0.5, 0.5], [1 / 3] * 3, [0.125] * 4, [0.125] * 8]
CONFIG = """version = 1
[midi]
system = "none"
[[input]]
name = "keys"
connect = []
[output]
name = "sampler"
connect = []
[player]
instrument = "violin"
target = "general-midi"
"""


def write_long_take(path):
    hand = random.Random(5)
    notes, now = [], 0.0
    while len(notes) < NOTES:
        for length in hand.choice(FIGURES):
            notes.append((now + max(0, hand.gauss(0, 0.01)), length * hand.choice([0.5, 0.9, 1.04]), hand.randint(55, 84), hand.randint(40, 110)))
            now += length
        now += hand.random() < 0.03
    scale = QUARTERS / now * midi.TICKS
    events = []
    for begin, length, key, velocity in notes:
        events += [(int(begin * scale), bytes([0x90, key, velocity])), (int((begin + length) * scale), bytes([0x80, key, 64]))]
    midi.write(path, sorted(events, key=lambda e: (e[0], e[1][0] == 0x90)))


def measure(name, *words):
    began = time.monotonic()
    process = subprocess.Popen([BOWARMD, *words], env=ENVIRONMENT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    print(f"{name:24} {used.ru_utime + used.ru_stime:6.1f} s of a core {time.monotonic() - began:6.1f} s {used.ru_maxrss // 1024:5} MB"
          f"{'' if process.returncode in (0, 1) else '  exit code ' + str(process.returncode)}", flush=True)


with tempfile.TemporaryDirectory() as folder:
    take, journal, config = (os.path.join(folder, name) for name in ("take.mid", "take.journal", "bowarm.toml"))
    out = lambda name: os.path.join(folder, name)
    write_long_take(take)
    pathlib.Path(config).write_text(CONFIG, encoding="utf-8")
    helper = os.path.join(os.path.dirname(BOWARMD), "tests", "outside", "helpers", "journal_of_file")
    for name, words in (("recover", ()), ("recover --report", ("--report", out("recovered.json")))):
        subprocess.run([helper, take, config, journal, "measured", "whole"], check=True, env=ENVIRONMENT)
        measure(name, "recover", journal, "--out", out("recovered.mid"), *words)
        if os.path.exists(journal):
            os.remove(journal)
    for name, words in (("sent file", ("--out", out("sent.mid"))), ("report, text", ("--report", out("r.txt"))),
                        ("report, CSV", ("--report", out("r.csv"))), ("report, JSON", ("--report", out("r.json"))),
                        ("chart, SVG", ("--chart", out("c.svg"))), ("chart, HTML", ("--chart", out("c.html"))),
                        ("sheet", ("--sheet", out("s.html"))), ("part", ("--part", out("p.musicxml"))),
                        ("wishes of that part", ("--wishes", out("p.musicxml"), "--out", out("w.mid"))),
                        ("hindsight", ("--hindsight", "--out", out("h.mid")))):
        measure(name, "replay", take, *words)
