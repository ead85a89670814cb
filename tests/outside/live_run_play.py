"""`run --play` needs no MIDI system, sends what replay sends, and ends every note when it is stopped in the middle.
A second instance on the same socket is refused; a take folder that cannot be written does not stop the playing."""
import os
import signal
import subprocess
import sys
import tempfile
import time

import lib_midi_file as midi
from lib_service import Service, Studio, check, run, wait_for

program, source = sys.argv[1], sys.argv[2]
studios, services = [], []


def studio(**wishes):
    studios.append(Studio(source, **wishes))
    return studios[-1]


def service(place, *options):
    services.append(Service(program, place, *options))
    return services[-1]


def write_tune(place, notes=16):
    path = os.path.join(place.folder, "tune.mid")
    midi.write(path, midi.scale([67, 69, 71, 72, 74, 76, 78, 79] * (notes // 8)))
    return path


def plays_as_replay():
    """A file played live gives byte for byte the messages and the report of replay, and exits with 0."""
    place = studio()
    tune = write_tune(place)
    began = time.monotonic()
    code = service(place, "--play", tune).wait(30)
    took = time.monotonic() - began
    check(code == 0, f"exit code {code}")
    check(3.9 < took < 15, f"16 eighth notes at 120 take 4 s, not {took:.1f}")
    out, report = os.path.join(place.folder, "replay.mid"), os.path.join(place.folder, "replay.json")
    subprocess.run([program, "replay", tune, "--config", place.config, "--out", out, "--report", report], env=place.environment, check=True)
    sent = place.takes_named(".mid", but=("-played.mid",))
    check(len(sent) == 1, f"takes: {sent}")
    check(midi.channel_messages(sent[0]) == midi.channel_messages(out), "the messages differ from replay's")
    check(open(sent[0], "rb").read() == open(out, "rb").read(), "the files differ")
    check(open(place.takes_named(".json")[0], "rb").read() == open(report, "rb").read(), "the reports differ")
    played = midi.channel_messages(place.takes_named("-played.mid")[0])
    given = midi.channel_messages(tune)
    check([m for _, m in played] == [m for _, m in given], "the played file is not what was played")
    check(len(midi.note_ons(midi.channel_messages(out))) >= 16, "too few notes to mean anything")


def ends_every_note():
    """SIGTERM in the middle of a held chord: a note-off for every note-on, a take on disk, exit 0 within a second."""
    place = studio()
    path = os.path.join(place.folder, "held.mid")
    midi.write(path, [(0, bytes([0x90, key, 90])) for key in (55, 62, 71)], end_tick=480 * 60)
    process = service(place, "--play", path)
    wait_for(process.answers, "the status socket")
    wait_for(lambda: "ready" in process.log(), "the start")
    time.sleep(0.7)
    began = time.monotonic()
    code = process.stop()
    check(code == 0, f"exit code {code}")
    check(time.monotonic() - began < 1.5, "too slow")
    messages = midi.channel_messages(place.takes_named(".mid", but=("-played.mid",))[0])
    check(len(midi.note_ons(messages)) >= 3, "the chord did not sound")
    check(not midi.notes_left_on(messages), f"left on: {midi.notes_left_on(messages)}")


def refuses_a_second():
    """A second service on the same socket says so in one line and exits with 75; the first plays on."""
    place = studio()
    tune = write_tune(place)
    first = service(place, "--play", tune, "--stay")
    wait_for(first.answers, "the status socket")
    second = subprocess.run([program, "run", "--as-root", "--config", place.config], env=place.environment, capture_output=True, text=True, timeout=10)
    check(second.returncode == 75, f"exit code {second.returncode}")
    lines = [line for line in second.stderr.splitlines() if line]
    check(len(lines) == 1 and place.socket in lines[0], f"said: {second.stderr}")
    check(first.answers() is not None, "the first one is gone")
    check(first.stop() == 0, "the first one did not end well")


def stays():
    """--stay goes on after the file, answers, and ends with 0 when told; SIGHUP is refused in words and does no harm."""
    place = studio()
    tune = write_tune(place, 8)
    process = service(place, "--play", tune, "--stay")
    wait_for(lambda: "staying" in process.log(), "the end of the file", 20)
    process.process.send_signal(1)
    wait_for(lambda: "reload" in process.log(), "a word on SIGHUP")
    check(process.answers() is not None, "no answer any more")
    check(process.stop() == 0, "exit code")
    check(len(place.takes_named(".json")) == 1, "one take")


def plays_without_a_folder():
    """A take folder that is a file: said in log and status, the piece is played all the same."""
    place = studio()
    tune = write_tune(place, 8)
    with open(place.takes, "w", encoding="utf-8") as file:
        file.write("a file")
    process = service(place, "--play", tune)
    wait_for(process.answers, "the status socket")
    check("take" in str(process.ask()), "the status does not tell")
    code = process.wait(30)
    check(code == 74, f"exit code {code}")
    check("the file has been played" in process.log(), "it did not play to the end")
    check(process.log().count("cannot be kept") >= 1, "nothing in the log")


def refuses_bad_files():
    """A file that is not there is 66, a file that is no music 65, each with one line that names it."""
    place = studio()
    path = os.path.join(place.folder, "odd.mid")
    # 480 ticks a quarter at 120: half a second; the limits are the program's own, for run and replay alike.
    long = 13 * 3600 * 2 * 480
    for text, expected in ((None, 66), (b"not music at all", 65), ("folder", 66), (long, 65), (b"\0" * (32 * 2**20 + 1), 65)):
        if text == "folder":
            os.mkdir(path)
        elif text == long:
            os.rmdir(path)
            midi.write(path, [(0, bytes([0x90, 60, 90])), (long, bytes([0x80, 60, 64]))], end_tick=long)
        elif text is not None:
            with open(path, "wb") as file:
                file.write(text)
        replayed = subprocess.run([program, "replay", path, "--config", place.config, "--out", os.path.join(place.folder, "x.mid")],
                                  env=place.environment, capture_output=True, text=True, timeout=10)
        check(replayed.returncode == expected, f"replay: exit code {replayed.returncode} instead of {expected}")
        done = subprocess.run([program, "run", "--as-root", "--config", place.config, "--play", path], env=place.environment, capture_output=True, text=True, timeout=10)
        check(done.returncode == expected, f"exit code {done.returncode} instead of {expected}")
        check(len(done.stderr.splitlines()) == 1 and "odd.mid" in done.stderr, f"said: {done.stderr}")
        if text == b"not music at all":
            os.remove(path)


def outlives_its_log():
    """Whoever reads stderr goes away in the middle (SIGPIPE, signal(7)): it plays on, ends with 0 when told, and the take is
    there with a note-off for every note-on."""
    place = studio()
    path = os.path.join(place.folder, "held.mid")
    midi.write(path, [(0, bytes([0x90, key, 90])) for key in (55, 62, 71)], end_tick=480 * 60)
    process = service(place, "--play", path)
    process.end()
    reader, writer = os.pipe()
    process.process = subprocess.Popen([program, "run", "--as-root", "--config", place.config, "--play", path], env=place.environment, stderr=writer,
                                       stdin=subprocess.DEVNULL)
    os.close(writer)
    wait_for(process.answers, "the status socket")
    os.close(reader)
    process.process.send_signal(signal.SIGHUP)  # is answered in the log
    time.sleep(0.5)
    check(process.answers() is not None, "it died with its log")
    process.process.send_signal(signal.SIGTERM)
    code = process.process.wait(5)
    check(code == 0, f"exit code {code}")
    messages = midi.channel_messages(place.takes_named(".mid", but=("-played.mid",))[0])
    check(len(midi.note_ons(messages)) >= 3, "the chord did not sound")
    check(not midi.notes_left_on(messages), f"left on: {midi.notes_left_on(messages)}")


try:
    sys.exit(run([plays_as_replay, ends_every_note, refuses_a_second, stays, plays_without_a_folder, refuses_bad_files,
                  outlives_its_log], lambda: services[-1:]))
finally:
    for s in services:
        s.end()
    for s in studios:
        s.remove()
