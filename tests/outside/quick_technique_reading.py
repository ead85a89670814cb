"""From how keys are played the arm reads the family that is marked in the score, for nine notes of ten.

Scores and hands: lib_articulated_scores.py, written apart from the reader.  The seeds of this test were not used to make it.
Every note counts, those at a change of articulation too, where nobody can know it yet.  Nine of ten is the project's own aim.

usage: quick_technique_reading.py BOWARMD SOURCE [FIRST_SEED PERFORMANCES]
"""
import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

import lib_articulated_scores as scores
import lib_midi_file as midi

BOWARMD, SOURCE = sys.argv[1], sys.argv[2]
FIRST_SEED, PERFORMANCES = (int(sys.argv[3]), int(sys.argv[4])) if len(sys.argv) > 4 else (90_000, 120)
COLUMNS = (*scores.FAMILIES, "ambiguous")
AIM = 0.90


def events_of(notes, quarter_s):
    """Note-offs first where they share a tick; the pedal before its note."""
    tick = lambda seconds: round(seconds / quarter_s * midi.TICKS)
    events, pedal = [], None
    for note in notes:
        if note["pedal"] != pedal:
            pedal = note["pedal"]
            events.append((tick(note["on"]), 1, bytes([0xB0, 11, pedal])))
        events.append((tick(note["on"]), 2, bytes([0x90, note["pitch"], note["velocity"]])))
        events.append((max(tick(note["off"]), tick(note["on"]) + 1), 0, bytes([0x80, note["pitch"], 64])))
    return [(at, data) for at, _, data in sorted(events, key=lambda e: e[:2])]


def read(seed):
    """(note as played, what it was read as) for every note of one performance."""
    instrument, quarter_s, notes = scores.performance(seed)
    with tempfile.TemporaryDirectory() as folder:
        path, report = os.path.join(folder, "in.mid"), os.path.join(folder, "report.json")
        midi.write(path, events_of(notes, quarter_s), tempo_us=round(quarter_s * 1e6))
        done = subprocess.run([BOWARMD, "replay", path, "--config", os.path.join(SOURCE, "config", "bowarm.toml"), "--instrument",
                               instrument, "--out", os.path.join(folder, "out.mid"), "--report", report],
                              capture_output=True, text=True, timeout=60)
        assert done.returncode == 0, (seed, done.returncode, done.stderr)
        with open(report, encoding="utf-8") as file:
            told = json.load(file)["notes"]
    assert [n["pitch"] for n in told] == [n["pitch"] for n in notes], seed
    return [(note, n["read"]) for note, n in zip(notes, told)]


def tally(performances):
    matrix = {family: dict.fromkeys(COLUMNS, 0) for family in scores.FAMILIES}
    at_change = dict.fromkeys(scores.FAMILIES, 0)
    for performance in performances:
        since = {}
        for note, word in performance:
            since[note["section"]] = since.get(note["section"], 0) + 1
            matrix[note["marked"]][word] += 1
            at_change[note["marked"]] += word != note["marked"] and since[note["section"]] <= 2
    return matrix, at_change


def show(matrix, at_change):
    print(f"{'marked':>15} {'notes':>7}" + "".join(f"{c:>15}" for c in COLUMNS) + f"{'of errors, in the first two of a change':>42}")
    for family, row in matrix.items():
        notes, errors = sum(row.values()), sum(row.values()) - row[family]
        print(f"{family:>15} {notes:>7}" + "".join(f"{100 * row[c] / max(1, notes):>13.1f} %" for c in COLUMNS)
              + f"{100 * at_change[family] / max(1, errors):>40.0f} %")


def main():
    with ThreadPoolExecutor(2) as pool:
        matrix, at_change = tally(pool.map(read, range(FIRST_SEED, FIRST_SEED + PERFORMANCES)))
    show(matrix, at_change)
    right = sum(row[family] for family, row in matrix.items())
    notes = sum(sum(row.values()) for row in matrix.values())
    print(f"{'all':>15} {notes:>7}: {100 * right / notes:.1f} % as marked, "
          f"{100 * sum(at_change.values()) / max(1, notes - right):.0f} % of the errors in the first two notes of a change")
    failed = [family for family, row in matrix.items() if row[family] < AIM * sum(row.values())]
    if right < AIM * notes or failed:
        sys.exit(f"fewer than {AIM:.0%} as marked: {', '.join(failed) or 'all'}")


if __name__ == "__main__":
    main()
