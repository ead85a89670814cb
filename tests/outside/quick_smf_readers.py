"""Other people's programs and ours agree on Standard MIDI Files.
Files written by mido, csvmidi and abc2midi are bowed; what we write is read alike by mido, midicsv and libsmf, every note ends,
and the report has each note where mido hears it.  Files that are broken end with 65 and one line, absent ones with 66.
Needs the Debian packages python3-mido, midicsv, abcmidi and libsmf0."""
import collections
import ctypes
import json
import os
import pathlib
import subprocess
import sys
import tempfile

try:
    import mido
except ImportError:
    # Debian's packages belong to Debian's own interpreter, which need not be the first on the path.
    if sys.executable != "/usr/bin/python3" and os.path.exists("/usr/bin/python3"):
        os.execv("/usr/bin/python3", ["/usr/bin/python3", *sys.argv])
    raise

BINARY, SOURCE = sys.argv[1], pathlib.Path(sys.argv[2])
CONFIG = SOURCE / "config" / "bowarm.toml"


def run(*words):
    return subprocess.run([str(word) for word in words], capture_output=True, text=True, timeout=60)


def replay(source, out, *more):
    return run(BINARY, "replay", source, "--out", out, "--config", CONFIG, *more)


def write_with_mido(path):
    """Three tracks, two tempos, chords, overlapping slurs, velocity-0 note-offs in running status, one note never ended."""
    file = mido.MidiFile(type=1, ticks_per_beat=480)
    conductor = mido.MidiTrack([
        mido.MetaMessage("time_signature", numerator=3, denominator=4, time=0),
        mido.MetaMessage("set_tempo", tempo=600000, time=0),
        mido.MetaMessage("set_tempo", tempo=433333, time=1441)])
    melody = mido.MidiTrack([mido.MetaMessage("track_name", name="melody", time=0), mido.Message("control_change", control=11, value=80, time=0)])
    for step, pitch in enumerate([67, 69, 71, 72, 74, 72, 71, 69]):
        melody.append(mido.Message("note_on", note=pitch, velocity=70 + step, time=0 if step == 0 else 40))
        melody.append(mido.Message("note_on", note=pitch, velocity=0, time=200 + 100 * (step % 3)))
    chords = mido.MidiTrack([mido.Message("note_on", channel=1, note=74, velocity=90, time=4800)])
    chords.append(mido.Message("note_on", channel=1, note=67, velocity=90, time=0))
    chords.append(mido.Message("note_off", channel=1, note=74, time=960))
    chords.append(mido.Message("note_off", channel=1, note=67, time=0))
    chords.append(mido.Message("note_on", channel=1, note=62, velocity=60, time=480))
    chords.append(mido.MetaMessage("end_of_track", time=480))
    file.tracks.extend([conductor, melody, chords])
    file.save(path)


def write_with_csvmidi(path):
    rows = ["0, 0, Header, 0, 1, 96", "1, 0, Start_track", "1, 0, Tempo, 500000"]
    for step in range(12):
        pitch = 55 + 2 * step
        rows += [f"1, {48 * step}, Note_on_c, 0, {pitch}, {60 + step}", f"1, {48 * step + 47}, Note_off_c, 0, {pitch}, 64"]
    rows += ["1, 600, End_track", "0, 0, End_of_file"]
    table = path.with_suffix(".csv")
    table.write_text("\n".join(rows) + "\n", encoding="ascii")
    assert run("csvmidi", table, path).returncode == 0, "csvmidi (package midicsv) could not write"


def write_with_abc2midi(path):
    """A tune of our own with a slur, staccato dots and a double stop."""
    tune = path.with_suffix(".abc")
    tune.write_text("X:1\nT:Study\nM:4/4\nL:1/8\nQ:1/4=96\nK:D\n(DEFG) .A.B.c.d | [Ad]4 f2 e2 | d8 |\n", encoding="ascii")
    done = run("abc2midi", tune, "-o", path)
    assert path.exists(), "abc2midi (package abcmidi) could not write: " + done.stdout


def seen_by_mido(path):
    """(track, tick, kind, channel, key, velocity) of every note message."""
    found = []
    for number, track in enumerate(mido.MidiFile(path).tracks, start=1):
        tick = 0
        for message in track:
            tick += message.time
            if message.type in ("note_on", "note_off"):
                found.append((number, tick, message.type, message.channel, message.note, message.velocity))
    return found


def seen_by_midicsv(path):
    listing = subprocess.run(["midicsv", str(path)], capture_output=True, text=True, timeout=60, check=True, encoding="latin-1").stdout
    kinds = {"Note_on_c": "note_on", "Note_off_c": "note_off"}
    found = []
    for line in listing.splitlines():
        fields = [field.strip() for field in line.split(",")]
        if fields[2] in kinds:
            found.append((int(fields[0]), int(fields[1]), kinds[fields[2]], *map(int, fields[3:6])))
    return found


class SmfEvent(ctypes.Structure):
    """smf_event_t of libsmf 1.3 (smf.h)."""
    _fields_ = [("track", ctypes.c_void_p), ("number", ctypes.c_int), ("delta", ctypes.c_int), ("tick", ctypes.c_int), ("seconds", ctypes.c_double),
                ("track_number", ctypes.c_int), ("bytes", ctypes.POINTER(ctypes.c_ubyte)), ("length", ctypes.c_int), ("user", ctypes.c_void_p)]


def seen_by_libsmf(path):
    """The same as the two above, with the seconds by libsmf's own tempo map."""
    library = ctypes.CDLL("libsmf.so.0")
    library.smf_load.restype = ctypes.c_void_p
    library.smf_get_next_event.restype = ctypes.POINTER(SmfEvent)
    smf = library.smf_load(str(path).encode())
    assert smf, f"{path.name}: libsmf does not read it"
    found = []
    while event := library.smf_get_next_event(ctypes.c_void_p(smf)):
        e = event.contents
        kind = {0x90: "note_on", 0x80: "note_off"}.get(e.bytes[0] & 0xF0)
        if kind:
            found.append(((e.track_number, e.tick, kind, e.bytes[0] & 0x0F, e.bytes[1], e.bytes[2]), e.seconds))
    library.smf_delete(ctypes.c_void_p(smf))
    return found


def check_libsmf(path, notes):
    heard = seen_by_libsmf(path)
    # It goes through all tracks by time, mido track by track.
    assert sorted(note for note, _ in heard) == sorted(notes), f"{path.name}: mido and libsmf read our file differently"
    by_mido = [onset for onset, _ in onsets_by_mido(path)]
    by_libsmf = sorted(seconds for note, seconds in heard if note[2] == "note_on" and note[5] > 0)
    worst = max(abs(a - b) for a, b in zip(by_mido, by_libsmf))
    assert worst < 2e-6, f"{path.name}: mido and libsmf are {worst} s apart"


def check_every_note_ends(notes, name):
    sounding = collections.Counter()
    for _, _, kind, channel, key, velocity in notes:
        if kind == "note_on" and velocity > 0:
            assert sounding[channel, key] == 0, f"{name}: key {key} struck again while it sounds"
            sounding[channel, key] += 1
        else:
            assert sounding[channel, key] == 1, f"{name}: note-off of key {key}, which is silent"
            sounding[channel, key] -= 1
    assert not +sounding, f"{name}: left sounding {dict(+sounding)}"


def onsets_by_mido(path):
    """(seconds, key) as mido's own tempo reckoning has them."""
    now, found = 0.0, []
    for message in mido.MidiFile(path):
        now += message.time
        if message.type == "note_on" and message.velocity > 0:
            found.append((now, message.note))
    return sorted(found, key=lambda onset: (round(onset[0], 6), onset[1]))


def check_report(report, source):
    heard = onsets_by_mido(source)
    notes = report["notes"]
    assert [note["index"] for note in notes] == list(range(len(heard))), f"{source.name}: {len(notes)} notes for {len(heard)}"
    for note, (seconds, key) in zip(notes, heard):
        assert note["pitch"] == key and abs(note["onset_s"] - seconds) < 2e-6, f"{source.name}: {note} is at {seconds} s, key {key} for mido"
        assert note["end_s"] > note["onset_s"], f"{source.name}: {note} has no length"


def check_good(folder, name, write):
    source, out, report = folder / f"{name}.mid", folder / f"{name}-out.mid", folder / f"{name}.json"
    write(source)
    done = replay(source, out, "--report", report)
    assert done.returncode == 0, f"{name}: exit {done.returncode}: {done.stderr}"
    assert done.stderr == "", f"{name}: {done.stderr}"
    notes = seen_by_mido(out)
    assert notes, f"{name}: nothing was sent"
    assert notes == seen_by_midicsv(out), f"{name}: mido and midicsv read our file differently"
    check_libsmf(out, notes)
    check_every_note_ends(notes, name)
    check_report(json.loads(report.read_text(encoding="utf-8")), source)
    first = out.read_bytes()
    assert replay(source, out).returncode == 0 and out.read_bytes() == first, f"{name}: a second replay differs"


def broken_files(good):
    head = good[:14]
    yield "empty", b""
    yield "text", b"this is a letter, not music\n"
    yield "other chunk", b"RIFF" + good[4:]
    for size in (3, 9, 13, 17, 23, len(good) // 2, len(good) - 1):
        yield f"cut after {size}", good[:size]
    yield "no track", head
    yield "track of 4 GB", head + b"MTrk\xff\xff\xff\xff" + good[22:]
    yield "track too short", head + b"MTrk\x00\x00\x00\x06\x00\x90\x3c\x40\x10\x80"
    yield "endless delta", head + b"MTrk\x00\x00\x00\x40" + b"\xff" * 64
    yield "meta longer than the track", head + b"MTrk\x00\x00\x00\x08\x00\xff\x03\xff\xff\xff\x7fa"
    yield "header of 4 GB", b"MThd\xff\xff\xff\xff" + good[8:]
    yield "format 2", good[:8] + b"\x00\x02" + good[10:]
    yield "no ticks", good[:12] + b"\x00\x00" + good[14:]
    slowest = b"\x00\xff\x51\x03\xff\xff\xff"
    year = slowest + b"\xff\xff\xff\x7f\x90\x3c\x40\x00\xff\x2f\x00"
    yield "a rest of a year", head + b"MTrk" + len(year).to_bytes(4, "big") + year


def check_broken(folder, good):
    for name, content in broken_files(good):
        source, out = folder / "broken.mid", folder / "broken-out.mid"
        source.write_bytes(content)
        done = replay(source, out)
        assert done.returncode == 65, f"{name}: exit {done.returncode}: {done.stderr}"
        assert done.stderr.count("\n") == 1 and "broken.mid" in done.stderr and "; " in done.stderr, f"{name}: {done.stderr!r}"
        assert not out.exists(), f"{name}: left a file behind"


def check_refusals(folder):
    good = folder / "mido.mid"
    content = good.read_bytes()
    for code, source, out, more in (
            (66, folder / "absent.mid", folder / "x.mid", ()),
            (66, folder, folder / "x.mid", ()),
            (73, good, folder / "absent" / "x.mid", ()),
            (73, good, folder, ()),
            (64, good, good, ()),
            (64, good, folder / "x.mid", ("--report", good)),
            (64, good, folder / "x.mid", ("--report", folder / "." / "x.mid")),
            (64, good, folder / "x.mid", ("--loudly",))):
        done = replay(source, out, *more)
        assert done.returncode == code, f"{source} {out} {more}: exit {done.returncode}, not {code}: {done.stderr}"
        assert done.stderr.count("\n") == 1, f"{source} {out} {more}: {done.stderr!r}"
        assert not (folder / "x.mid").exists() or code == 73, f"{source} {out} {more}: left a file behind"
    assert good.read_bytes() == content, "the input was touched"


with tempfile.TemporaryDirectory() as name:
    work = pathlib.Path(name)
    check_good(work, "mido", write_with_mido)
    check_good(work, "csvmidi", write_with_csvmidi)
    check_good(work, "abc2midi", write_with_abc2midi)
    check_broken(work, (work / "csvmidi.mid").read_bytes())
    check_refusals(work)
print("mido, midicsv, libsmf and abc2midi agree with us; broken files are refused")
