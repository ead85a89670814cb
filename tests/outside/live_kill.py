"""kill -9 at random moments of a real run loses at most a quarter of a second, and the next start makes a take of the rest.
Rounds: 12, or as many as BOWARM_KILLS says (500 for the long run, about half an hour)."""
import os
import random
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
    """A key event every 12.5 ms for 20 s: how many a journal has says how far it reaches."""
    events = [(i * 12, bytes([0x90 if i % 2 == 0 else 0x80, 60 + (i // 2) % 24, 80])) for i in range(1600)]
    midi.write(path, events)  # 480 ticks a quarter, 500 ms: 12 ticks are 12.5 ms
    return [data[1] for _, data in events if data[0] == 0x90]


def recovered(place, journal):
    out = os.path.join(place.folder, "out.mid")
    done = subprocess.run([program, "recover", journal, "--out", out], env=place.environment, capture_output=True, text=True, timeout=20)
    if done.returncode == 65 and "nothing was played" in done.stderr:
        return []
    check(done.returncode == 0, done.stderr)
    check("the same as on the day" in done.stdout, done.stdout)
    played = midi.channel_messages(out, track=1)
    return [data[1] for _, data in played if data[0] & 0xF0 == 0x90 and data[2] > 0]


def kill_once(place, path, pitches, delay):
    """How many seconds of the playing were lost."""
    process = Service(program, place, "--play", path)
    services.append(process)
    wait_for(process.answers, "the status socket")
    time.sleep(delay)
    applied = process.ask()["inputs"]  # before the kill, so what is missing of it is lost
    process.process.send_signal(signal.SIGKILL)
    process.process.wait(5)
    journals = [n for n in os.listdir(place.takes) if n.startswith("open-")]
    check(len(journals) == 1, f"journals: {journals}")
    played = recovered(place, os.path.join(place.takes, journals[0]))
    check(played == pitches[:len(played)], "notes that nobody played")
    again = Service(program, place)
    services.append(again)
    wait_for(lambda: journals[0] not in os.listdir(place.takes), "the finished take", 20)
    check(again.stop() == 0, "exit code")
    if played:
        newest = max(place.takes_named("-played.mid"), key=os.path.getmtime)
        check([data[1] for _, data in midi.channel_messages(newest) if data[0] & 0xF0 == 0x90 and data[2] > 0] == played, "the take differs")
    return max(0, applied - 2 - 2 * len(played)) * STEP  # tempo and meter are inputs, too


def kills():
    """At random moments: all but the last quarter second is there, nothing is invented, and the next start finishes the take."""
    place = Studio(source)
    studios.append(place)
    path = os.path.join(place.folder, "dense.mid")
    pitches = write_dense_piece(path)
    dice = random.Random(20)
    lost = []
    for number in range(rounds):
        lost.append(kill_once(place, path, pitches, dice.uniform(0.0, 3.0)))
        check(lost[-1] <= LOSS_AT_MOST, f"round {number}: {lost[-1]:.3f} s are lost")
    print(f"  {rounds} rounds; lost at most {max(lost) * 1000:.0f} ms, {sum(lost) / len(lost) * 1000:.0f} ms in the mean", flush=True)
    check(len(place.takes_named(".journal")) > rounds / 2, "too few takes to mean anything")


try:
    sys.exit(run([kills], lambda: services[-1:]))
finally:
    for s in services:
        s.end()
    for s in studios:
        s.remove()
