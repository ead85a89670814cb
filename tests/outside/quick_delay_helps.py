"""What a fixed delay is good for: more techniques are read as marked, fewer notes have to be mended, and the bow runs out less often.

The same scores with marked articulations and the same hands as in quick_technique_reading.py, played at delays of 0, 100, 250 and
500 ms.  That knowing what follows helps is not a fact of the trade but what the delay promises.

usage: quick_delay_helps.py BOWARMD SOURCE [FIRST_SEED PERFORMANCES]
"""
import os
import shutil
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

import quick_technique_reading as reading

FIRST_SEED, PERFORMANCES = (int(sys.argv[3]), int(sys.argv[4])) if len(sys.argv) > 4 else (90_000, 40)
DELAYS = ("0.0", "0.1", "0.25", "0.5")
COUNTS = ("forced_changes", "repairs", "warnings")


def played_with(delay, folder):
    """Confusion matrix, and totals, of all performances; with a sampler that speaks at once, so that all of the delay is foresight."""
    config = os.path.join(folder, delay)
    shutil.copytree(os.path.join(reading.SOURCE, "config"), config)
    path = os.path.join(config, "bowarm.toml")
    with open(path, encoding="utf-8") as file:
        text = file.read()
    assert text.count("\ndelay_s = 0.0") == 1
    with open(path, "w", encoding="utf-8") as file:
        file.write(text.replace("\ndelay_s = 0.0", "\ndelay_s = " + delay))
    target = os.path.join(config, "targets", "keyswitch-demo.toml")
    with open(target, encoding="utf-8") as file:
        lines = [line for line in file if "speaks_" not in line]
    with open(target, "w", encoding="utf-8") as file:
        file.writelines(lines)
    with ThreadPoolExecutor(2) as pool:
        all_of = list(pool.map(lambda seed: reading.replayed(seed, path, "--target", "keyswitch-demo"),
                               range(FIRST_SEED, FIRST_SEED + PERFORMANCES)))
    matrix, later = reading.tally([[(n, t["read"]) for n, t in zip(notes, told["notes"])] for notes, told in all_of])
    return matrix, later, {count: sum(told["totals"][count] for _, told in all_of) for count in COUNTS}


def main():
    right, totals = {}, {}
    with tempfile.TemporaryDirectory() as folder:
        for delay in DELAYS:
            matrix, later, totals[delay] = played_with(delay, folder)
            notes = sum(sum(row.values()) for row in matrix.values())
            right[delay] = sum(row[family] for family, row in matrix.items()) / notes
            print(f"delay {delay} s: {100 * right[delay]:.1f} % of {notes} notes as marked, {totals[delay]}")
            reading.show(matrix, later)
    rising = all(right[a] < right[b] for a, b in zip(DELAYS, DELAYS[1:]))
    fewer = all(totals["0.5"][count] < totals["0.0"][count] for count in COUNTS)
    if not rising or right["0.5"] < 0.93 or not fewer:
        sys.exit("the delay does not help as it did")


if __name__ == "__main__":
    main()
