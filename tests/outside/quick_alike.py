"""Players who double each other are bowed alike in what the real program writes: `replay --alike` follows another file, `takes bow-again`
of several players bows them in turn; wishes go through to those who follow; what cannot be understood is one line and a fitting code.
That the section follows its leader is common practice, no source."""
import json
import os
import subprocess
import sys
from xml.etree import ElementTree

import lib_midi_file as midi
from lib_service import Service, Studio, check, run

program, source = sys.argv[1], sys.argv[2]
NAMES = ("violin 1", "cello")
TOGETHER = [(240, 74), (120, 76), (120, 78), (240, 79), (360, 81), (120, 79), (240, 78), (240, 76), (480, 74), (240, 78), (240, 81), (480, 79)]
OWN = [(120, 76), (120, 74), (240, 72)]  # three strokes, while the other counts
BEFORE = sum(length for length, _ in OWN)
studio = Studio(source)


def ours(name):
    return os.path.join(studio.folder, name)


def bowarmd(*words):
    return subprocess.run([program, *words], env=studio.environment, capture_output=True, text=True, timeout=60)


def fine(done, codes=(0,)):
    check(done.returncode in codes, f"exit code {done.returncode}: {done.stdout} {done.stderr}")
    return done.stdout


def line(notes, at, channel=0, down_by=0):
    events = []
    for length, key in notes:
        events.append((at, bytes([0x90 | channel, key - down_by, 80])))
        events.append((at + length * 9 // 10, bytes([0x80 | channel, key - down_by, 64])))
        at += length
    return events


def bows(path):
    """By onset in milliseconds, of the notes that begin a stroke."""
    with open(path, encoding="utf-8") as file:
        report = json.load(file)
    onsets = {note["index"]: round(note["onset_s"] * 1000) for note in report["notes"]}
    return {onsets[stroke["notes"][0]]: stroke["bow"] for stroke in report["strokes"] if stroke["notes"]}


def in_common(one, other):
    """Pairs of bows of the strokes that begin within 30 ms."""
    return [(bow, other_bow) for at, bow in one.items() for other_at, other_bow in other.items() if abs(at - other_at) <= 30]


def differing(one, other):
    return sum(a != b for a, b in in_common(one, other))


def replay(name, *words):
    return fine(bowarmd("replay", ours(name), "--config", studio.config, "--out", ours("out.mid"), "--report", ours("out.json"), "--hindsight", *words), (0, 1))


def a_file_follows_another():
    """After three strokes of its own the second voice would arrive the other way; with --alike it goes with the first, and says so."""
    midi.write(ours("first.mid"), line(TOGETHER, BEFORE))
    midi.write(ours("second.mid"), line(OWN + TOGETHER, 0, down_by=12))
    with open(ours("up.txt"), "w", encoding="utf-8") as file:
        file.write("note 0 up\n")
    replay("first.mid", "--wishes", ours("up.txt"))
    first = bows(ours("out.json"))
    check(first[BEFORE * 500 // 480] == "up", "the wish")
    said = replay("second.mid")
    check("alike" not in said, said)
    more = ("--alike", ours("first.mid"), "--alike-wishes", ours("up.txt"))
    said = replay("second.mid", *more)
    follows, sent = bows(ours("out.json")), open(ours("out.mid"), "rb").read()
    check(len(in_common(first, follows)) == len(TOGETHER) and differing(first, follows) == 0, f"{first} {follows}")
    check(f"of {len(TOGETHER)} strokes that another player doubles" in said, said)
    replay("second.mid", *more)
    check(open(ours("out.mid"), "rb").read() == sent, "another time, other bytes")
    # The other way round, so that following is no accident.
    with open(ours("down.txt"), "w", encoding="utf-8") as file:
        file.write("note 0 down\n")
    replay("first.mid", "--wishes", ours("down.txt"))
    other = bows(ours("out.json"))
    replay("second.mid", "--alike", ours("first.mid"), "--alike-wishes", ours("down.txt"))
    check(other[BEFORE * 500 // 480] == "down" and differing(other, bows(ours("out.json"))) == 0, "the other way")


def a_wish_of_its_own_is_stronger():
    """What is asked of the follower is done, and what is left goes along."""
    replay("first.mid")
    first = bows(ours("out.json"))
    at = sorted(first)[5]
    with open(ours("own.txt"), "w", encoding="utf-8") as file:
        file.write(f"note {len(OWN) + 5} {'up' if first[at] == 'down' else 'down'}\n")
    said = replay("second.mid", "--alike", ours("first.mid"), "--wishes", ours("own.txt"))
    follows = bows(ours("out.json"))
    check("wishes: 1 obeyed, 0 refused" in said and follows[at] != first[at], said)
    check(1 <= differing(first, follows) <= 3, f"{first} {follows}")


def another_instrument_is_followed():
    """A double bass two octaves below the violin goes its way where it has the hair."""
    midi.write(ours("bass.mid"), line(TOGETHER, BEFORE, down_by=36))
    replay("first.mid")
    first = bows(ours("out.json"))
    replay("bass.mid", "--instrument", "double-bass", "--alike", ours("first.mid"), "--alike-instrument", "violin")
    check(differing(first, bows(ours("out.json"))) == 0, f"{first} {bows(ours('out.json'))}")


def play_a_take():
    with open(studio.config, encoding="utf-8") as file:
        text = file.read()
    players = "".join(f'[[player]]\nname = "{name}"\ninstrument = "{name.split()[0]}"\ntarget = "general-midi"\nchannel = {i}\ntarget_channel = {i}\n'
                      for i, name in enumerate(NAMES, 1))
    with open(studio.config, "w", encoding="utf-8") as file:
        file.write(text[:text.index("[player]")] + players + text[text.index("[take]"):])
    midi.write(ours("duet.mid"), line(TOGETHER, BEFORE) + line(OWN + TOGETHER, 0, channel=1, down_by=24))
    service = Service(program, studio, "--play", ours("duet.mid"))
    try:
        code = service.process.wait(30)
        check(code == 0, f"exit code {code}: {service.log()}")
    finally:
        service.end()


def again(*words, codes=(0, 1)):
    return fine(bowarmd("takes", "bow-again", "last", "--config", studio.config, *words), codes)


def a_take_is_bowed_in_turn():
    """Without --player: the first player first, the cello with it; one file of both, one score, and a report each."""
    play_a_take()
    said = again("--out", ours("all.mid"), "--report", ours("r.json"), "--part", ours("p.musicxml"))
    check([name for name in said.splitlines() if name in NAMES] == list(NAMES), said)
    one, two = bows(ours("r-violin 1.json")), bows(ours("r-cello.json"))
    check(len(in_common(one, two)) == len(TOGETHER) and differing(one, two) == 0, f"{one} {two}")
    for number, (name, notes, down_by) in enumerate(((NAMES[0], TOGETHER, 0), (NAMES[1], OWN + TOGETHER, 24)), 1):
        sent = midi.note_ons(midi.channel_messages(ours("all.mid"), track=number))
        check([m[1] for m in sent if m[1] > 35] == [key - down_by for _, key in notes], f"{name}: {sent}")
    score = ElementTree.parse(ours("p.musicxml")).getroot()
    check([p.text for p in score.iter("part-name")] == list(NAMES), "the score's parts")
    bars = [len(p.findall("measure")) for p in score.findall("part")]
    check(len(bars) == 2 and bars == [2, 2], f"bars {bars}")
    heads = [[n for n in p.iter("note") if n.find("pitch") is not None and not any(t.get("type") == "stop" for t in n.findall("tie"))]
             for p in score.findall("part")]
    check([len(h) for h in heads] == [len(TOGETHER), len(OWN + TOGETHER)], "the score's notes")
    clefs = [p.find("measure/attributes/clef/sign").text for p in score.findall("part")]
    check(clefs[0] == "G" and clefs[1] in "FC", f"clefs {clefs}")
    alone = again("--player", NAMES[0], "--report", ours("alone.json"))
    check(NAMES[1] not in alone and bows(ours("alone.json")) == one, "the first player alone bows the same")
    before = open(ours("all.mid"), "rb").read()
    again("--out", ours("all.mid"))
    check(open(ours("all.mid"), "rb").read() == before, "another time, other bytes")


def wishes_go_through():
    """A wish for the first player turns the second, too."""
    for word in ("up", "down"):
        with open(ours("wish.txt"), "w", encoding="utf-8") as file:
            file.write(f"note 0 {word}\n")
        said = again("--report", ours("w.json"), "--wishes", ours("wish.txt"), "--wishes-for", NAMES[0])
        one, two = bows(ours("w-violin 1.json")), bows(ours("w-cello.json"))
        check("wishes: 1 obeyed" in said and one[min(one)] == word, said)
        check(differing(one, two) == 0, f"{word}: {one} {two}")


def a_score_comes_back():
    """The score's part of one player, given back as that player's wishes: the same bows of all."""
    again("--report", ours("r.json"), "--part", ours("score.mxl"))
    said = again("--report", ours("b.json"), "--wishes", ours("score.mxl"), "--wishes-for", NAMES[1], "--wishes-part", NAMES[1])
    check(" 0 refused" in said and "wishes: 0 obeyed" not in said, said)
    for name in NAMES:
        check(bows(ours(f"b-{name}.json")) == bows(ours(f"r-{name}.json")), name)


def refuses():
    """One line and a code of sysexits.h."""
    wish, out, first = ours("wish.txt"), ours("x.mid"), ours("first.mid")
    more = ("--config", studio.config)
    for words, code, word in ((("replay", ours("second.mid"), "--out", out, "--alike", first), 64, "--hindsight"),
                              (("replay", ours("second.mid"), "--out", out, "--hindsight", "--alike-wishes", wish), 64, "--alike"),
                              (("replay", ours("second.mid"), "--out", first, "--hindsight", "--alike", first), 64, "overwrite"),
                              (("replay", ours("second.mid"), "--out", out, "--hindsight", "--alike", ours("no.mid")), 66, "no.mid"),
                              (("takes", "bow-again", "last", "--out", out, "--wishes", wish), 64, "violin 1, cello"),
                              (("takes", "bow-again", "last", "--out", out, "--wishes", wish, "--wishes-for", "celo"), 64, "cello"),
                              (("takes", "bow-again", "last", "--out", out, "--wishes-for", "cello"), 64, "--wishes"),
                              (("takes", "bow-again", "last", "--player", "cello", "--out", out, "--wishes-for", "cello"), 64, "--wishes-for"),
                              (("takes", "bow-again", "last", "--out", out, "--bars", "90"), 64, "bars 1 to"),
                              (("takes", "bow-again", "last", "--out", ours("r-cello.json"), "--report", ours("r.json")), 64, "two outputs")):
        done = bowarmd(*words, *more)
        check(done.returncode == code and word in done.stderr and len(done.stderr.splitlines()) == 1, f"{words}: {done.returncode} {done.stderr}")
    check(not os.path.exists(out), "something was written")


try:
    sys.exit(run([a_file_follows_another, a_wish_of_its_own_is_stronger, another_instrument_is_followed, a_take_is_bowed_in_turn, wishes_go_through,
                  a_score_comes_back, refuses]))
finally:
    studio.remove()
