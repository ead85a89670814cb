"""What each shipped target is sent for one short performance, byte for byte: tests/target/golden/NAME.txt.

A line is a moment: the tick (960 a quarter, quarter 0.5 s) and the messages in hexadecimal, in their order.  When a change of the
arm changes what is sent, look at the difference and rewrite the files:

    python3 tests/outside/quick_target_golden.py BOWARMD SOURCE --rewrite"""
import os
import subprocess
import sys
import tempfile

import lib_midi_file as midi

BOWARMD, SOURCE = sys.argv[1], sys.argv[2]
REWRITE = sys.argv[3:] == ["--rewrite"]
GOLDEN = os.path.join(SOURCE, "tests", "target", "golden")
TARGETS = os.path.join(SOURCE, "config", "targets")
CHOICES = range(12, 19)  # config/bowarm.toml: detache, legato, staccato, spiccato, marcato, tremolo, pizzicato


def performance():
    """Every technique that has a control key, two strokes each, the second slurred over; loudness, vibrato and bend on the way."""
    events, tick = [(0, bytes([0xB0, 11, 70]))], 10
    note = lambda at, key, length, velocity: events.extend([(at, bytes([0x90, key, velocity])), (at + length, bytes([0x80, key, 64]))])
    for i, choice in enumerate(CHOICES):
        note(tick, choice, 4, 100)
        note(tick + 20, 62 + i, 100, 50 + 10 * i)
        note(tick + 110, 69 + i, 70, 90 - 10 * i)
        events.append((tick + 60, bytes([0xB0, 11, 60 + 9 * i])))
        tick += 220
    events += [(400, bytes([0xB0, 1, 33])), (600, bytes([0xE0, 0, 80])), (800, bytes([0xE0, 0, 64]))]
    return events


def sent_to(target, folder):
    path, out = os.path.join(folder, "in.mid"), os.path.join(folder, "out.mid")
    midi.write(path, performance())
    done = subprocess.run([BOWARMD, "replay", path, "--config", os.path.join(SOURCE, "config", "bowarm.toml"), "--instrument", "violin",
                           "--target", target, "--out", out], capture_output=True, text=True, timeout=60)
    if done.returncode:
        sys.exit(f"{target}: exit {done.returncode}: {done.stderr}")
    moments = {}
    for tick, message in midi.channel_messages(out):
        moments.setdefault(tick, []).append(message.hex())
    return "".join(f"{tick} {' '.join(messages)}\n" for tick, messages in sorted(moments.items()))


def main():
    names = sorted(os.path.splitext(f)[0] for f in os.listdir(TARGETS) if f.endswith(".toml"))
    failed = 0
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            sent, path = sent_to(name, folder), os.path.join(GOLDEN, name + ".txt")
            if REWRITE:
                with open(path, "w", encoding="ascii") as file:
                    file.write(sent)
                continue
            kept = open(path, encoding="ascii").read() if os.path.exists(path) else ""
            if sent != kept:
                failed += 1
                pairs = zip(sent.splitlines() + [""], kept.splitlines() + [""])
                line, (new, old) = next((n, pair) for n, pair in enumerate(pairs, 1) if pair[0] != pair[1])
                print(f"FAILED {path}:{line}: kept '{old}', sent '{new}'")
    strays = [] if REWRITE else sorted({os.path.splitext(f)[0] for f in os.listdir(GOLDEN)} - set(names))
    for stray in strays:
        print(f"FAILED {stray}.txt: no such target any more")
    print("fine" if not failed and not strays else "when the change is meant: quick_target_golden.py BOWARMD SOURCE --rewrite")
    sys.exit(1 if failed or strays else 0)


main()
