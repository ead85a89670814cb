"""What bowarm costs, as a table in Markdown (stdout) and a plot in SVG: time and instructions of events, growth, the running service.

    table.py BUILD SOURCE [--plot FILE.svg] [--only engine|growth|service]

Takes some minutes.  Times are of this machine at this moment: compare within one run.  Instructions (valgrind) are the same in every run
of one build.
Needs Google Benchmark; where valgrind is missing its columns stay empty.
"""
import argparse
import json
import os
import pathlib
import random
import re
import socket
import statistics
import subprocess
import sys
import tempfile
import time

import counting
import plot

parser = argparse.ArgumentParser(description="What bowarm costs.")
parser.add_argument("build")
parser.add_argument("source")
parser.add_argument("--plot", default="costs.svg")
parser.add_argument("--only", choices=["engine", "growth", "service"])
options = parser.parse_args()
BUILD, SOURCE = pathlib.Path(options.build).resolve(), pathlib.Path(options.source).resolve()
BOWARMD, BENCH, EVENTS = BUILD / "bowarmd", BUILD / "tests/bench/bench", BUILD / "tests/bench/events"
sys.path.insert(0, str(SOURCE / "tests/outside"))
import lib_midi_file as midi  # noqa: E402
from lib_service import Service, Studio, wait_for  # noqa: E402

GROWTH = [1_000, 3_000, 10_000, 30_000, 100_000]  # notes
STARTS = 11
# What is aimed at.
EVENT_NS, NOTES_S, TIMES_REAL_TIME = 500, 3.0, 10_000
READY_MS, ONE_PLAYER_MB, MANY_PLAYERS_MB, PROGRAM_MB = 50, 15, 40, 5
MANY_PLAYERS = 64


def row(*cells):
    print("| " + " | ".join(str(c) for c in cells) + " |", flush=True)


def head(title, *columns):
    print(f"\n### {title}\n")
    row(*columns)
    row(*["---"] * len(columns))


def thousands(number):
    return f"{number:,.0f}"


def benchmarks():
    """ns by name: the median of five repetitions of each benchmark."""
    said = subprocess.run([BENCH, "--benchmark_format=json", "--benchmark_repetitions=5", "--benchmark_min_time=0.1",
                           "--benchmark_report_aggregates_only=true"], check=True, capture_output=True, text=True).stdout
    return {b["run_name"]: b for b in json.loads(said)["benchmarks"] if b["aggregate_name"] == "median"}


def engine():
    """The engine alone, by workload and technique, and many players in one house."""
    median = benchmarks()
    counts = counting.has_valgrind()
    head("The engine: an event is an input or a wake, all curves of one player together",
         "workload", "events", "curve values", "ns an event, mean", "median event, ns", "99.9 % below, ns", "instructions an event", "ns a value",
         "instructions a value", "dearest event, instructions", "times the median", "notes in the technique")
    dearest = (0, "", 0)
    for name in counting.words(EVENTS, "names"):
        events, values, notes, as_asked = map(int, counting.words(EVENTS, "play", name))
        middle, _, rare, _, _ = map(int, counting.words(EVENTS, "time", name))
        b = median[f"events/{name}"]
        each = counting.of_each_event(EVENTS, name) if counts else []
        cells = ["", "", "", ""]
        if each:
            worst = max(each)
            cells = [thousands(sum(each) / events), thousands(sum(each) / values), thousands(worst), f"{worst / statistics.median(each):.1f}"]
            dearest = max(dearest, (worst, name, each.index(worst)))
        row(name, thousands(events), thousands(values), thousands(b["event"] * 1e9), middle, thousands(rare), cells[0],
            thousands(b["value"] * 1e9), *cells[1:], f"{as_asked} of {notes}" if as_asked else "")
    if counts:
        worst, name, index = dearest
        print(f"\nThe dearest event of all, {thousands(worst)} instructions: number {index} of {name}, "
              + " ".join(counting.words(EVENTS, "tell", name, str(index))) + ".")
    head("Players in one house, each hearing all", "players", "ns an event of one of them")
    players = [(int(name.split("/")[1]), b["event"] * 1e9) for name, b in median.items() if name.startswith("players/")]
    for count, ns in players:
        row(count, thousands(ns))
    row(f"{players[-1][0]} over {players[0][0]}", f"{players[-1][1] / players[0][1]:.2f} times")
    head("Others", "what", "figure")
    row("a wake inside one long note", f"{median['wake_in_a_note']['cpu_time']:.0f} ns")
    row("one plan of speed, force and contact point", f"{median['plan']['cpu_time']:.0f} ns")
    row("the song, times real time", thousands(median["song_times_real_time"]["times_real_time"]))
    return plot.Panel("Time of an event in a house of players", "players", "ns an event of one player",
                      [("median of five repetitions", players)], levels=[("aim: 500 ns", EVENT_NS)], log_y=False,
                      x_marks=[count for count, _ in players])


def write_take(path, notes):
    """A melody of 9 notes a second, in sixteenths, eighths, triplets and rests, by one seed."""
    hand = random.Random(5)
    figures = [[0.25] * 4, [0.5, 0.5], [1 / 3] * 3, [0.125] * 4, [0.125] * 8]
    events, now, count = [], 0.0, 0
    while count < notes:
        for length in hand.choice(figures)[:notes - count]:
            begin, end = now + max(0, hand.gauss(0, 0.01)), now + length * hand.choice([0.5, 0.9, 1.04])
            key = hand.randint(55, 84)
            events += [(int(begin * midi.TICKS), bytes([0x90, key, hand.randint(40, 110)])), (int(end * midi.TICKS), bytes([0x80, key, 64]))]
            now += length
            count += 1
        now += hand.random() < 0.03
    midi.write(path, sorted(events, key=lambda e: (e[0], e[1][0] == 0x90)))
    return now * 0.5  # s, at 120 quarters a minute


def seconds_of_core(*words):
    """Seconds of a core and MB at most of bowarmd with these words."""
    process = subprocess.Popen([BOWARMD, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                               env=dict(os.environ, BOWARM_DATA=str(SOURCE / "config"), XDG_CONFIG_HOME="/nowhere"))
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 1):
        sys.exit(f"table.py: bowarmd {' '.join(words)} ended with {process.returncode}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def growth():
    """Replay and hindsight over longer and longer takes: seconds of a core, the better of two."""
    head("Growth with the length of a take, seconds of a core", "notes", "minutes", "replay", "times real time", "ms a note", "MB",
         "hindsight", "ms a note", "MB")
    points = {"replay": [], "hindsight": []}
    with tempfile.TemporaryDirectory() as folder:
        for notes in GROWTH:
            take = os.path.join(folder, "take.mid")
            length = write_take(take, notes)
            used = {}
            for name, words in (("replay", []), ("hindsight", ["--hindsight"])):
                used[name] = min(seconds_of_core("replay", take, *words, "--out", os.path.join(folder, "out.mid")) for _ in range(2))
                points[name].append((notes, used[name][0]))
            (live, live_mb), (back, back_mb) = used["replay"], used["hindsight"]
            row(thousands(notes), f"{length / 60:.0f}", f"{live:.2f}", thousands(length / live), f"{live / notes * 1e3:.4f}", f"{live_mb:.0f}",
                f"{back:.2f}", f"{back / notes * 1e3:.4f}", f"{back_mb:.0f}")
    print(f"\nAims: {NOTES_S:g} s for hindsight over {thousands(GROWTH[-1])} notes, replay {thousands(TIMES_REAL_TIME)} times real time. "
          "Ten times the notes (100,000 over 10,000) take "
          + ", ".join(f"{ps[-1][1] / ps[2][1]:.1f} times as long in {name}" for name, ps in points.items()) + ".")
    linear = [(n, points["replay"][-1][1] * n / GROWTH[-1]) for n in GROWTH]
    return plot.Panel("Growth with the length of a take", "notes", "seconds of a core",
                      list(points.items()), [("in proportion to the notes", linear)], [("aim for 100,000: 3 s", NOTES_S)])


def ready_after(studio):
    """ms from the start of the process to READY=1, and how many of them it had a core."""
    manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    with manager:
        name = os.path.join(studio.folder, "notify")
        manager.bind(name)
        manager.settimeout(20)
        studio.environment["NOTIFY_SOCKET"] = name
        began = time.monotonic()
        service = Service(str(BOWARMD), studio)
        try:
            while b"READY=1" not in manager.recv(4096):
                pass
            took = time.monotonic() - began
            tasks = pathlib.Path(f"/proc/{service.process.pid}/task").iterdir()
            on_core_ns = sum(int((task / "schedstat").read_text(encoding="utf-8").split()[0]) for task in tasks)
            service.stop()
        finally:
            service.end()
            os.remove(name)
            del studio.environment["NOTIFY_SOCKET"]
    return took * 1e3, on_core_ns / 1e6


def private_mb(pid):
    rollup = pathlib.Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="utf-8")
    return sum(int(kb) for kb in re.findall(r"^Private_\w+:\s+(\d+) kB", rollup, re.M)) / 1024


def memory_of(studio):
    """Private MB of the service while it waits."""
    service = Service(str(BOWARMD), studio)
    try:
        wait_for(service.answers, "the service")
        time.sleep(2)
        mb = private_mb(service.process.pid)
        service.stop()
        return mb
    finally:
        service.end()


def with_players(studio, count):
    one = '[player]\ninstrument = "violin"\ntarget = "general-midi"\n'
    config = pathlib.Path(studio.config)
    each = "".join(one.replace("[player]", f'[[player]]\nname = "player {n}"') for n in range(count))
    config.write_text(config.read_text(encoding="utf-8").replace(one, each), encoding="utf-8")


def service():
    """The real program without a MIDI system."""
    head("The running service, without a MIDI system", "what", "figure", "aim")
    studio = Studio(str(SOURCE))
    try:
        starts = sorted(ready_after(studio) for _ in range(STARTS))
        on_core = statistics.median(own for _, own in starts)
        row(f"start to READY=1, median of {STARTS} (least, most)", f"{starts[STARTS // 2][0]:.0f} ms ({starts[0][0]:.0f}, {starts[-1][0]:.0f})", f"{READY_MS} ms")
        row("the same without waiting for a core or for others", f"{on_core:.0f} ms", "")
        row("private memory, one player, waiting", f"{memory_of(studio):.1f} MB", f"{ONE_PLAYER_MB} MB")
        with_players(studio, MANY_PLAYERS)
        row(f"private memory, {MANY_PLAYERS} players, waiting", f"{memory_of(studio):.1f} MB", f"{MANY_PLAYERS_MB} MB")
    finally:
        studio.remove()
    with tempfile.TemporaryDirectory() as folder:
        stripped = os.path.join(folder, "bowarmd")
        subprocess.run(["strip", "-o", stripped, BOWARMD], check=True)
        row("the program, stripped", f"{os.path.getsize(stripped) / 1e6:.1f} MB", f"{PROGRAM_MB} MB")


panels = []
for part in (engine, growth, service):
    if options.only in (None, part.__name__):
        panel = part()
        if panel is not None:
            panels.append(panel)
if panels:
    plot.write(options.plot, panels)
