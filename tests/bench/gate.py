"""No workload takes more than 3 % more instructions an event than are stored, and no single event of random playing does.

    gate.py EVENTS BASELINE BUILT_BY [--accept]

EVENTS is the program `events` of a build, BUILT_BY its compiler, machine and kind.  --accept stores what is counted now.  What was stored
for another compiler is no measure: then the counts are printed and the test is skipped, as it is without valgrind (exit code 77).
"""
import sys

import counting

SKIPPED, GROWN = 77, 1
ALLOWED = 1.03
MEANS = ["song", "random", "two-voices", "chords", "delay", "desks", "detache", "spiccato", "tremolo", "ricochet", "pizzicato"]
DEAREST = ["random-few"]  # each event is written down by itself, which takes its time


def read(path):
    """Who built what was counted, and the instructions by name."""
    built_by, stored = "", {}
    with open(path, encoding="utf-8") as file:
        for line in file:
            if line.startswith("built by "):
                built_by = line.removeprefix("built by ").strip()
            elif line.strip() and not line.startswith("#"):
                name, count = line.rsplit(maxsplit=1)
                stored[name] = float(count)
    return built_by, stored


def write(path, built_by, counted):
    with open(path, "w", encoding="utf-8") as file:
        file.write("# Instructions an event (input or wake), see gate.py; stored by `cmake --build BUILD --target accept_instructions`.\n")
        file.write(f"built by {built_by}\n")
        for name, count in counted.items():
            file.write(f"{name} {count:.1f}\n")


def count(events):
    """Name and instructions, one after the other."""
    for workload in MEANS:
        together, number = counting.of_workload(events, workload)
        yield f"{workload}, an event", together / number
    for workload in DEAREST:
        yield f"{workload}, the dearest event", max(counting.of_each_event(events, workload))


def main():
    accept = "--accept" in sys.argv
    events, baseline, built_by = [word for word in sys.argv[1:] if word != "--accept"]
    if not counting.has_valgrind():
        print("skipped: valgrind is not installed (sh tests/install.sh tests)")
        return SKIPPED
    stored_for, stored = read(baseline)
    counted, grown = {}, []
    for name, now in count(events):
        counted[name] = now
        ratio = now / stored[name] if name in stored else None
        judged = f"{ratio:.3f} times what is stored" if ratio else "nothing is stored"
        print(f"{name}: {now:.1f} instructions, {judged}", flush=True)
        if ratio is None or ratio > ALLOWED:
            grown.append(f"{name}: {judged}")
    if accept:
        write(baseline, built_by, counted)
        print(f"stored in {baseline}")
        return 0
    if stored_for != built_by:
        print(f"skipped: stored counts are of '{stored_for}', this is '{built_by}'")
        return SKIPPED
    if grown:
        print("more than 3 % over what is stored:", *grown, sep="\n")
        print("Find where they go with callgrind_annotate, or, where the growth is worth it: cmake --build BUILD --target accept_instructions")
    return GROWN if grown else 0


sys.exit(main())
