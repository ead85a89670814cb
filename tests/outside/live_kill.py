"""kill -9 at random moments of a real run loses at most a quarter of a second, and the next start makes a take of the rest.
Rounds: 12, or as many as BOWARM_KILLS says (500 for the long run, about half an hour)."""
import os
import random
import re
import signal
import subprocess
import sys
import time

import lib_midi_file as midi
from lib_service import Service, Studio, check, run, wait_for

program, source = sys.argv[1], sys.argv[2]
rounds = int(os.environ.get("BOWARM_KILLS", "12"))
studios, services = [], []
STEP = 0.0125  # seconds between two key events of the piece
LOSS_AT_MOST = 0.25


def write_dense_piece(path):
    """A key event every 12.5 ms for 20 s, so that the last one in a journal tells when it ends."""
    events = [(i * 12 // 2 * 2, bytes([0x90 if i % 2 == 0 else 0x80, 60 + (i // 2) % 24, 80])) for i in range(1600)]
    midi.write(path, events)  # 480 ticks a quarter, 500 ms: 12 ticks are 12.5 ms
    return events


def last_input_ns(process_id):
    """CLOCK_MONOTONIC is also this program's clock."""
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC)


def kills():
    """At random moments: all but the last quarter second is there, nothing is invented, and the next start finishes the take."""
    place = Studio(source)
    studios.append(place)
    path = os.path.join(place.folder, "dense.mid")
    events = write_dense_piece(path)
    pitches = [data[1] for _, data in events if data[0] == 0x90]
    dice = random.Random(20)
    worst = 0.0
    for number in range(rounds):
        process = Service(program, place, "--play", path)
        services.append(process)
        wait_for(process.answers, "the status socket")
        wait_for(lambda: process.ask()["service"]["inputs"] > 0 if "service" in process.ask() else process.ask("info")["inputs"] > 0, "the first input")
        time.sleep(dice.uniform(0.0, 2.5))
        applied = inputs_applied(process)
        process.process.send_signal(signal.SIGKILL)
        process.process.wait(5)
        journals = [n for n in os.listdir(place.takes) if n.startswith("open-")]
        check(len(journals) == 1, f"round {number}: {journals}")
        journal, out = os.path.join(place.takes, journals[0]), os.path.join(place.folder, "out.mid")
        done = subprocess.run([program, "recover", journal, "--out", out], env=place.environment, capture_output=True, text=True, timeout=20)
        if done.returncode == 65 and applied * STEP < LOSS_AT_MOST:
            os.remove(journal)
            continue
        check(done.returncode == 0, f"round {number}: {done.stderr}")
        check("the same as on the day" in done.stdout, f"round {number}: {done.stdout}")
        played = [data[1] for _, data in midi.track_messages_named(out, "played") if data[0] & 0xF0 == 0x90 and data[2] > 0]
        check(played == pitches[:len(played)], f"round {number}: notes that nobody played")
        # `applied` was asked for before the kill, so what is missing of it is no more than was lost.
        lost = max(0, applied - 2 - 2 * len(played)) * STEP
        worst = max(worst, lost)
        check(lost <= LOSS_AT_MOST, f"round {number}: {lost:.3f} s are lost")
        again = Service(program, place)
        services.append(again)
        wait_for(lambda: len(place.takes_named(".json")) == number + 1 - skipped(place, number), "the finished take", 20) if False else None
        wait_for(lambda: not [n for n in os.listdir(place.takes) if n == journals[0]], "the finished take", 20)
        check(again.stop() == 0, "exit code")
    print(f"  {rounds} rounds, the most that was lost: {worst * 1000:.0f} ms", flush=True)


def inputs_applied(process):
    return process.ask()["service"]["inputs"]


try:
    sys.exit(run([kills], lambda: services[-1:]))
finally:
    for s in services:
        s.end()
    for s in studios:
        s.remove()
