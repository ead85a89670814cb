"""Takes of two players in the real program, played from a file of two channels: one take has both, each is named, shown and exported by
its name and plays again to the same messages; kill -9 at random moments loses at most a quarter of a second of either; the last take
is heard again with the arm off, then on, and makes no take of its own.  Rounds of kills: 4, or as many as BOWARM_KILLS says."""
import json
import os
import random
import signal
import subprocess
import sys
import time

import lib_midi_file as midi
from lib_service import Service, Studio, check, run, wait_for

program, source = sys.argv[1], sys.argv[2]
rounds = int(os.environ.get("BOWARM_KILLS", "4"))
NAMES = ("violin 1", "cello")
LOW = (64, 48)  # the lowest key of each one's tune
STEP = 0.025  # seconds between two key events of one player
LOSS_AT_MOST = 0.25
studios, services = [], []


def studio():
    place = Studio(source)
    studios.append(place)
    with open(place.config, encoding="utf-8") as file:
        text = file.read()
    players = "".join(f'[[player]]\nname = "{name}"\ninstrument = "{name.split()[0]}"\ntarget = "general-midi"\nchannel = {i}\ntarget_channel = {i}\n'
                      for i, name in enumerate(NAMES, 1))
    head, tail = text[:text.index("[player]")], text[text.index("[take]"):]
    with open(place.config, "w", encoding="utf-8") as file:
        file.write(head + players + tail)
    return place


def service(place, *options):
    services.append(Service(program, place, *options))
    return services[-1]


def write_duet(place, notes, ticks=48):
    """Both play at once; 480 ticks a quarter, 500 ms: 48 ticks are 50 ms."""
    path = os.path.join(place.folder, "duet.mid")
    events = []
    for i in range(notes):
        for channel, low in enumerate(LOW):
            events.append((i * ticks, bytes([0x90 | channel, low + i % 12, 80])))
            events.append((i * ticks + ticks // 2, bytes([0x80 | channel, low + i % 12, 64])))
    midi.write(path, sorted(events))
    return path


def bowarmd(place, *words):
    return subprocess.run([program, *words], env=place.environment, capture_output=True, text=True, timeout=60)


def fine(done):
    check(done.returncode == 0, f"exit code {done.returncode}: {done.stderr}")
    return done.stdout


def track_names(path):
    """Meta event 3 at the beginning of each track (Standard MIDI Files 1.0, RP-001)."""
    data, names, at = open(path, "rb").read(), [], 14
    check(data[:4] == b"MThd" and data[9] == 1, "no file of type 1")
    while at < len(data):
        length = int.from_bytes(data[at + 4:at + 8], "big")
        track = data[at + 8:at + 8 + length]
        check(track[1:3] == b"\xff\x03", "a track without a name")
        names.append(track[4:4 + track[3]].decode())
        at += 8 + length
    return names


def keys_of(path, name):
    messages = midi.channel_messages(path, track=track_names(path).index(name))
    check(not midi.notes_left_on(messages), f"{name}: left on: {midi.notes_left_on(messages)}")
    return [m[1] for m in midi.note_ons(messages)]


def tune(low, notes):
    return [low + i % 12 for i in range(notes)]


def one_take_of_both():
    """One take, three files and a journal; each track has its player's notes; show and export know the players by name."""
    place = studio()
    state["place"] = place
    path = write_duet(place, 40)
    check(service(place, "--play", path).wait(30) == 0, "exit code")
    check(len(place.takes_named(".journal")) == 1, "one take")
    sent, played = place.takes_named(".mid", ("-played.mid",))[0], place.takes_named("-played.mid")[0]
    for path in (sent, played):
        check(track_names(path) == ["tempo and meter", *NAMES], f"{path}: {track_names(path)}")
    for name, low in zip(NAMES, LOW):
        check(keys_of(played, name) == tune(low, 40), f"{name} played {keys_of(played, name)}")
        check(len(keys_of(sent, name)) >= 40, f"{name}: too little was sent")
    report = json.load(open(place.takes_named(".json")[0], encoding="utf-8"))
    check(report["format"] == "bowarm-reports" and [p["name"] for p in report["players"]] == list(NAMES), "the report's players")
    check([len(p["report"]["notes"]) for p in report["players"]] == [40, 40], "the report's notes")
    check([p["report"]["instrument"] for p in report["players"]] == ["violin", "cello"], "the report's instruments")
    shown = fine(bowarmd(place, "takes", "show", "last", "--config", place.config))
    check(shown.count("the same as on the day") == 2 and all(f"\n{n}\n" in shown for n in NAMES), shown)
    alone = fine(bowarmd(place, "takes", "show", "last", "--player", "cello", "--config", place.config))
    check(alone.count("the same as on the day") == 1 and "cello for general-midi" in alone and "violin" not in alone, alone)


def exports_and_refuses():
    """An export has two tracks a player, or the one that was asked for as ever; what bows one player asks which."""
    place = state["place"]
    out = os.path.join(place.folder, "out.mid")
    more = ("--config", place.config)
    fine(bowarmd(place, "takes", "export", "last", "--out", out, *more))
    check(track_names(out) == ["tempo and meter"] + [f"{n} {k}" for n in NAMES for k in ("played", "sent")], track_names(out))
    for name, low in zip(NAMES, LOW):
        check(keys_of(out, f"{name} played") == tune(low, 40), f"{name}: other notes")
    fine(bowarmd(place, "takes", "export", "last", "--out", out, "--player", "cello", *more))
    check(track_names(out) == ["tempo and meter", "played", "sent"] and keys_of(out, "played") == tune(LOW[1], 40), "the cello alone")
    chart, part, report = (os.path.join(place.folder, n) for n in ("c.html", "p.musicxml", "r.csv"))
    done = bowarmd(place, "takes", "bow-again", "last", "--player", "cello", "--out", out, "--chart", chart, "--part", part, "--report", report,
                   "--first-bar", "5", *more)
    check(done.returncode in (0, 1) and "hindsight" in done.stdout, done.stdout + done.stderr)
    check(all(os.path.getsize(f) > 100 for f in (chart, part)) and os.path.getsize(report) > 10, "a paper is missing")
    check('number="5"' in open(part, encoding="utf-8").read(), "the first bar's number")
    for words, word in ((("join", "last", "last", "--at", "2", "--out", out), "violin 1, cello"), (("show", "last", "--player", "celo"), "cello"),
                        (("list", "--chart", chart), "--chart has no meaning here"), (("show", "last", "--out", out), "--out has no meaning here"),
                        (("bow-again", "last", "--player", "cello", "--first-bar", "5"), "--first-bar"),
                        (("bow-again", "last", "--player", "cello", "--chart", os.path.join(place.folder, "x.png")), "--chart")):
        done = bowarmd(place, "takes", *words, *more)
        check(done.returncode == 64 and word in done.stderr and len(done.stderr.splitlines()) == 1, f"{words}: {done.returncode} {done.stderr}")


def hears_it_again():
    """take_hear: both players play the take twice, first with the arm off; no take comes of it, and in the end the arm is on again."""
    place = state["place"]
    before = sorted(os.listdir(place.takes))
    process = service(place)
    wait_for(process.answers, "the status socket")
    check(process.ask("take_hear") == {"accepted": True}, "take_hear was refused")
    players = lambda: process.ask()["players"]
    wait_for(lambda: all(p["bypassed"] for p in players()), "the arm to step out", 5)
    check(all(p["counts"]["strokes"] == 0 for p in players()), "a stroke with the arm off")
    wait_for(lambda: not any(p["bypassed"] for p in players()), "the arm to step in", 10)
    wait_for(lambda: all(p["counts"]["notes"] >= 40 for p in players()), f"40 bowed notes of each", 10)
    # Once more, and stopped in the middle.
    time.sleep(2)
    process.ask("take_hear")
    wait_for(lambda: all(p["bypassed"] and p["sounding"] for p in players()), "the second hearing", 5)
    process.ask("take_stop")
    wait_for(lambda: not any(p["bypassed"] or p["sounding"] for p in players()), "the end of it", 5)
    check("heard again" in process.log(), "the log does not say it")
    check(process.stop() == 0, "exit code")
    check(sorted(os.listdir(place.takes)) == before, "a take was made of a take")


def kill_once(place, path, delay):
    """How many seconds of the playing were lost."""
    process = service(place, "--play", path)
    wait_for(process.answers, "the status socket")
    time.sleep(delay)
    applied = process.ask()["inputs"]
    process.process.send_signal(signal.SIGKILL)
    process.process.wait(5)
    journal = os.path.join(place.takes, next(n for n in os.listdir(place.takes) if n.startswith("open-")))
    out = os.path.join(place.folder, "out.mid")
    done = bowarmd(place, "recover", journal, "--out", out)
    if done.returncode == 65 and "nothing was played" in done.stderr:
        played = [[], []]
    else:
        check(fine(done).count("the same as on the day") == 2, done.stdout)
        played = [[m[1] for m in midi.note_ons(midi.channel_messages(out, track=1 + 2 * i))] for i in range(2)]
    for keys, low in zip(played, LOW):
        check(keys == tune(low, len(keys)), "notes that nobody played")
    again = service(place)
    wait_for(lambda: not os.path.exists(journal), "the finished take", 20)
    check(again.stop() == 0, "exit code")
    if all(played):
        newest = max(place.takes_named("-played.mid"), key=os.path.getmtime)
        for name, keys in zip(NAMES, played):
            check(keys_of(newest, name) == keys, "the take differs")
    # Two players, each a key down and a key up a step; tempo and meter are inputs, too.
    return max(0, applied - 2 - 2 * sum(len(keys) for keys in played)) / 2 * STEP


def kills():
    """At random moments: all but the last quarter second of both is there, nothing is invented, the next start finishes the take."""
    place = studio()
    path = write_duet(place, 400)
    dice = random.Random(21)
    lost = [kill_once(place, path, dice.uniform(0.2, 3.0)) for _ in range(rounds)]
    print(f"  {rounds} rounds; lost at most {max(lost) * 1000:.0f} ms", flush=True)
    check(max(lost) <= LOSS_AT_MOST, f"{max(lost):.3f} s are lost")
    check(len(place.takes_named(".journal")) >= rounds / 2, "too few takes to mean anything")


state = {}
try:
    sys.exit(run([one_take_of_both, exports_and_refuses, hears_it_again, kills], lambda: services[-1:]))
finally:
    for s in services:
        s.end()
    for s in studios:
        s.remove()
