"""Takes from the command line: a journal that was cut off becomes a file that mido reads and that is bowed to the same notes again;
list, show, name, keep, export, bow-again, join and delete do what they say; what cannot be done is one line and a fitting code.
Needs the Debian package python3-mido."""
import contextlib
import os
import subprocess
import sys

try:
    import mido
except ImportError:
    # Debian's packages belong to Debian's own interpreter, which need not be the first on the path.
    if sys.executable != "/usr/bin/python3" and os.path.exists("/usr/bin/python3"):
        os.execv("/usr/bin/python3", ["/usr/bin/python3", *sys.argv])
    raise

from lib_service import Studio, check, run

program, source = sys.argv[1], sys.argv[2]
make_journal = os.path.join(os.path.dirname(os.path.abspath(program)), "tests", "outside", "helpers", "journal_of_file")
place = Studio(source)
song = os.path.join(source, "scenarios", "dotted-march.mid")
os.mkdir(place.takes, 0o700)


def ours(name):
    return os.path.join(place.folder, name)


def bowarmd(*words):
    return subprocess.run([program, *words], env=place.environment, capture_output=True, text=True, timeout=60)


def takes(*words):
    return bowarmd("takes", *words, "--config", place.config)


def journal(path, *more, build="another build"):
    subprocess.run([make_journal, song, place.config, path, build, *more], env=place.environment, check=True)
    return path


def fine(done):
    check(done.returncode == 0, f"exit code {done.returncode}: {done.stderr}")
    return done.stdout


def notes_of_track(path, name):
    """(seconds, key, velocity) of one track's notes, read by mido with the tempo map of the file."""
    file = mido.MidiFile(path)
    track = next(t for t in file.tracks if t.name == name)
    tempos, found, tick, seconds, tempo = [], [], 0, 0.0, 500000
    for message in file.tracks[0]:
        tick += message.time
        if message.type == "set_tempo":
            tempos.append((tick, message.tempo))
    tick = 0
    for message in track:
        for _ in range(message.time):
            while tempos and tempos[0][0] <= tick:
                tempo = tempos.pop(0)[1]
            tick += 1
            seconds += tempo / 1e6 / file.ticks_per_beat
        if message.type == "note_on" and message.velocity > 0:
            found.append((seconds, message.note, message.velocity))
    return found


def given_notes():
    found, seconds = [], 0.0
    for message in mido.MidiFile(song):
        seconds += message.time
        if message.type == "note_on" and message.velocity > 0:
            found.append((seconds, message.note, message.velocity))
    return found


def recovers():
    """A journal cut off in the middle of a record: mido finds the played notes at their times, and the sent ones; markers are there."""
    path = journal(ours("cut.journal"))
    whole = os.path.getsize(path)
    os.truncate(path, whole - 7)
    out = ours("recovered.mid")
    said = fine(bowarmd("recover", path, "--out", out, "--report", ours("recovered.json")))
    check("damage" in said and "the same as on the day" in said and "another build" in said, said)
    check(os.path.getsize(path) == whole - 7, "the journal was changed")
    file = mido.MidiFile(out)
    check(file.type == 1 and [t.name for t in file.tracks] == ["tempo and meter", "played", "sent"], "its tracks")
    check(any(m.type == "time_signature" for m in file.tracks[0]), "no time signature")
    markers = [m.text for m in file.tracks[0] if m.type == "marker"]
    check(markers.count("down") > 5 and markers.count("up") > 5, f"markers: {markers[:20]}")
    played, given = notes_of_track(out, "played"), given_notes()
    check(len(given) - len(played) <= 1, f"{len(played)} of {len(given)} notes")
    for one, other in zip(played, given):
        check(one[1:] == other[1:] and abs(one[0] - other[0]) < 0.001, f"{one} instead of {other}")
    check(len(notes_of_track(out, "sent")) >= len(played), "too few notes were sent")


def comes_back():
    """An export is bowed again to the same notes: what was sent, read back, does not sound twice."""
    again = ours("again.mid")
    fine(bowarmd("replay", ours("recovered.mid"), "--config", place.config, "--out", again))
    check([n[1] for n in notes_of_track(again, "sent")] == [n[1] for n in notes_of_track(ours("recovered.mid"), "sent")], "other notes")


def lists_and_names():
    """list, name, show, keep: a take is called by number, stem, name or last."""
    for stem in ("take-20260101-100000", "take-20260102-100000"):
        journal(os.path.join(place.takes, stem + ".journal"), "whole")
    fine(takes("name", "1", "slow song"))
    fine(takes("keep", "last"))
    lines = fine(takes()).splitlines()
    check(len(lines) == 2 and lines[0].endswith("slow song") and "kept" in lines[1], lines)
    check("slow song" in fine(takes("show", "slow song")), "show")
    check("notes     " in fine(takes("show", "take-20260102-100000")), "show")


def exports_and_bows_again():
    """export writes what recover writes; bow-again says what changed, obeys wishes and bars, and writes its file."""
    out = ours("export.mid")
    fine(takes("export", "2", "--out", out))
    check([n[1:] for n in notes_of_track(out, "played")] == [n[1:] for n in given_notes()], "other notes")
    with open(ours("wishes.txt"), "w", encoding="utf-8") as file:
        file.write("3:1 up\n")
    done = takes("bow-again", "2", "--out", ours("bowed.mid"), "--wishes", ours("wishes.txt"), "--bars", "2-3")
    check(done.returncode in (0, 1) and "hindsight" in done.stdout and "wishes:" in done.stdout, done.stdout + done.stderr)
    replayed = bowarmd("replay", song, "--config", place.config, "--out", ours("replayed.mid"), "--hindsight", "--bars", "2-3", "--wishes", ours("wishes.txt"))
    check(replayed.stdout == done.stdout, f"replay of the same says {replayed.stdout}")
    check(open(ours("bowed.mid"), "rb").read() == open(ours("replayed.mid"), "rb").read(), "replay of the same writes another file")


def joins():
    """The first take up to a bar and the second from it on: here the same, so that nothing may change but at the seam."""
    out = ours("joined.mid")
    said = fine(takes("join", "1", "2", "--at", "4", "--out", out))
    check("bar 4" in said, said)
    check([n[1:] for n in notes_of_track(out, "played")] == [n[1:] for n in given_notes()], "other notes")
    for one, other in zip(notes_of_track(out, "played"), given_notes()):
        check(abs(one[0] - other[0]) < 0.002, f"{one} instead of {other}")


def configuration_goes_with_it():
    """A take is played by the configuration that it was played with, whatever the file says now."""
    before = fine(takes("show", "1"))
    text = open(place.config, encoding="utf-8").read()
    with open(place.config, "w", encoding="utf-8") as file:
        file.write(text.replace('"violin"', '"cello"'))
    after = fine(takes("show", "1"))
    with open(place.config, "w", encoding="utf-8") as file:
        file.write(text)
    check(before == after and "violin" in after, after)


def another_output_is_told():
    """Where this build sends something else than was sent on the day, it says so and where."""
    path = journal(ours("other.journal"))
    # The same inputs and checks, but the target's texts exchanged for those of another target.
    other = Studio(source)
    try:
        with open(other.config, encoding="utf-8") as file:
            changed = file.read().replace('"general-midi"', '"keyswitch-demo"')
        with open(other.config, "w", encoding="utf-8") as file:
            file.write(changed)
        subprocess.run([make_journal, song, other.config, ours("keyswitch.journal"), "b"], env=other.environment, check=True)
    finally:
        other.remove()
    mixed = first_record(ours("keyswitch.journal")) + open(path, "rb").read()[len(first_record(path)):]
    with open(ours("mixed.journal"), "wb") as file:
        file.write(mixed)
    said = fine(bowarmd("recover", ours("mixed.journal"), "--out", ours("mixed.mid")))
    check("differs from what was sent on the day between 0.00 s" in said, said)


def first_record(path):
    """The beginning and the head of a journal: 16 bytes, then length, sum, kind, version, payload."""
    data = open(path, "rb").read()
    return data[:16 + 10 + int.from_bytes(data[16:20], "little")]


def refuses():
    """One line and a code of sysexits.h for what cannot be done; nothing is deleted by halves."""
    with open(ours("text"), "w", encoding="utf-8") as file:
        file.write("not a journal at all")
    empty = journal(ours("empty.journal"))
    os.truncate(empty, len(first_record(empty)))
    for words, code in ((("takes", "shw"), 64), (("takes", "show"), 64), (("takes", "show", "7"), 66), (("takes", "export", "1"), 64),
                        (("takes", "join", "1", "2", "--out", ours("x.mid")), 64), (("takes", "join", "1", "2", "--at", "999", "--out", ours("x.mid")), 64),
                        (("takes", "delete", "1", "9"), 66), (("recover", ours("nowhere"), "--out", ours("x.mid")), 66),
                        (("recover", ours("text"), "--out", ours("x.mid")), 65), (("recover", empty, "--out", ours("x.mid")), 65),
                        (("recover", empty, "--out", empty), 64), (("recover", empty), 64),
                        (("takes", "export", "1", "--out", "/nowhere/x.mid"), 73)):
        more = () if words[0] == "recover" else ("--config", place.config)
        done = bowarmd(*words, *more)
        check(done.returncode == code, f"{words}: exit code {done.returncode} instead of {code}: {done.stderr}")
        check(len(done.stderr.splitlines()) == 1, f"{words}: {done.stderr}")
    check(len(fine(takes("list")).splitlines()) == 2, "a take is gone")


def deletes():
    """delete takes every file of a take, and no other."""
    with open(os.path.join(place.takes, "take-notes.txt"), "w", encoding="utf-8"):
        pass
    fine(takes("delete", "1", "last"))
    check(os.listdir(place.takes) == ["take-notes.txt"], os.listdir(place.takes))


try:
    sys.exit(run([recovers, comes_back, lists_and_names, exports_and_bows_again, joins, configuration_goes_with_it, another_output_is_told, refuses,
                  deletes]))
finally:
    with contextlib.suppress(OSError):
        place.remove()
