#!/usr/bin/env python3
"""Writes the performances of this folder as Standard MIDI Files.

    make.py [FOLDER]      all of them, into FOLDER (this folder when none is given)

The music is our own.  A hand at a keyboard is never exact: onsets, lengths and velocities stray a little, from a fixed
seed, so that the files come out the same byte for byte on every machine.
Standard MIDI File 1.0 (RP-001): format 1, one conductor track (tempo, meter), one track with the performance.
"""

import os
import random
import sys

TICKS = 960  # a quarter note
LOUDNESS = 11  # the expression controller
FIRST_PROGRAM = 100
PROGRAMS = """read technique|detache|legato|portato|martele|marcato|staccato|spiccato|sautille|ricochet|hooked|tremolo|
col-legno-battuto|col-legno-tratto|pizzicato|snap-pizzicato|harmonic|artificial-harmonic|flautando|left-hand-pizzicato|mute|
sul ponticello|ordinary|sul tasto|next down|next up""".replace("\n", "").split("|")
DOWN_BOWS = "D1"  # the control key, held
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def key(name):
    """'Bb4' -> 70; middle C is C4, key 60."""
    accidental = {"#": 1, "b": -1}.get(name[1], 0)
    return 12 * (int(name[-1]) + 1) + STEPS[name[0]] + accidental


def variable_length(number):
    digits = [number & 0x7F]
    while number := number >> 7:
        digits.append(number & 0x7F | 0x80)
    return bytes(reversed(digits))


def meta(kind, data):
    return bytes([0xFF, kind]) + variable_length(len(data)) + data


class Track:
    def __init__(self):
        self.events = []  # (tick, order among equals, bytes)

    def at(self, tick, data, order=1):
        self.events.append((max(0, tick), order, data))

    def chunk(self):
        body, now = b"", 0
        for tick, _, data in sorted(self.events, key=lambda event: event[:2]):
            body += variable_length(tick - now) + data
            now = tick
        body += b"\x00" + meta(0x2F, b"")
        return b"MTrk" + len(body).to_bytes(4, "big") + body


class Performance:
    """Beats are quarter notes from the start of the piece."""

    def __init__(self, name, tempo, meter, seed):
        self.chance = random.Random(seed)
        self.tempo = tempo
        self.conductor, self.hands = Track(), Track()
        self.conductor.at(0, meta(0x03, name.encode("ascii")), 0)
        self.conductor.at(0, meta(0x58, bytes([meter[0], meter[1].bit_length() - 1, 24, 8])))
        self.change_tempo(0, tempo)
        self.controller = None

    def change_tempo(self, beat, tempo):
        self.tempo = tempo
        self.conductor.at(round(beat * TICKS), meta(0x51, round(60_000_000 / tempo).to_bytes(3, "big")))

    def ticks(self, milliseconds):
        return milliseconds * self.tempo / 60_000 * TICKS

    def stray(self, spread):
        """Around 0, most often near it, never beyond spread."""
        return (self.chance.random() + self.chance.random() - 1) * spread

    def note(self, beat, length, name, velocity):
        """length in beats; below 0 never, and at least 25 ms."""
        start = round(beat * TICKS + self.ticks(self.stray(12)))
        end = max(start + round(self.ticks(25)), round((beat + length) * TICKS + self.ticks(self.stray(14))))
        strength = min(127, max(1, round(velocity + self.stray(5))))
        self.hands.at(start, bytes([0x90, key(name), strength]), 2)
        self.hands.at(end, bytes([0x80, key(name), 64]), 0)

    def line(self, beat, notes, touch, velocity):
        """notes: 'D4:1 F4:0.5 -:1'; touch(length) gives how long the key is held.  Gives the beat after the last."""
        for word in notes.split():
            name, length = word.split(":")
            length = float(length)
            if name != "-":
                accent = 18 if name.endswith("!") else 0
                self.note(beat, touch(length), name.rstrip("!"), velocity + accent)
            beat += length
        return beat

    def slur(self, beat, notes, velocity):
        """One bow: every key goes down before the last comes up, and the last lets go just before the next bow."""
        *bound, last = notes.split()
        while last.startswith("-"):
            last = bound.pop() + " " + last
        beat = self.line(beat, " ".join(bound), slurred, velocity)
        return self.line(beat, last, separate, velocity)

    def choose(self, beat, what):
        """By program change, a little before the beat; counted from 1, as in [[controls.program]] of config/bowarm.toml."""
        self.hands.at(round((beat - 0.2) * TICKS), bytes([0xC0, PROGRAMS.index(what) + FIRST_PROGRAM - 1]), 0)

    def chord(self, beat, length, names, velocity):
        """Its keys go down in the order of the names, 4 ms apart, and come up together."""
        for number, name in enumerate(names.split()):
            start = round(beat * TICKS + self.ticks(4 * number))
            self.hands.at(start, bytes([0x90, key(name), velocity]), 2)
            self.hands.at(round((beat + length) * TICKS), bytes([0x80, key(name), 64]), 0)

    def swell(self, points):
        """Moves the expression controller through (beat, value) points as a foot does: smooth, and slightly unsteady."""
        for (start, low), (end, high) in zip(points, points[1:]):
            steps = max(1, round((end - start) * 60_000 / self.tempo / 25))
            for step in range(steps + 1):
                u = step / steps
                value = round(low + (high - low) * u * u * (3 - 2 * u) + self.stray(1.2))
                value = min(127, max(0, value))
                if value != self.controller:
                    self.hands.at(round((start + (end - start) * u) * TICKS), bytes([0xB0, LOUDNESS, value]), 1)
                    self.controller = value

    def file(self):
        tracks = [self.conductor.chunk(), self.hands.chunk()]
        header = b"MThd" + (6).to_bytes(4, "big") + (1).to_bytes(2, "big")
        return header + len(tracks).to_bytes(2, "big") + TICKS.to_bytes(2, "big") + b"".join(tracks)


def slurred(length):
    return length + 0.06  # the next key goes down before this one comes up


def separate(length):
    return length - min(0.18 * length, 0.12)


def short(length):
    return min(length * 0.5, 0.28)


def slow_song():
    song = Performance("slow song", 56, (4, 4), 1)
    song.swell([(0, 42), (4, 66), (6, 74), (9, 58), (12, 50), (15.5, 34)])
    beat = 0
    for slur in ("D4:2", "F4:1 A4:1", "Bb4:3", "A4:1", "G4:1.5 A4:0.5", "F4:2", "E4:3.5 -:0.5"):
        beat = song.slur(beat, slur, 58)
    # The high F is held longer than any bow lasts at that loudness.
    song.swell([(16, 46), (19, 78), (22, 112), (25, 118), (26.5, 96), (28, 72), (32, 22)])
    for slur, velocity in (("A4:2", 64), ("C5:1 E5:1", 68), ("F5:6", 84), ("E5:1 C#5:1", 70)):
        beat = song.slur(beat, slur, velocity)
    song.change_tempo(28, 50)  # the last bar takes its time
    song.line(beat, "D5:4", separate, 56)
    return song


def light_feet():
    dance = Performance("light feet", 96, (2, 4), 2)
    dance.swell([(0, 62), (8, 70), (15, 56), (16, 62), (24, 82), (28, 70), (32, 56), (36, 74), (39, 48)])
    beat = 0
    for figure in (
        "A4:0.25 C#5:0.25 E5:0.25 C#5:0.25 A4:0.5 E5:0.5",
        "B4:0.25 D5:0.25 F#5:0.25 D5:0.25 B4:0.5 F#5:0.5",
        "C#5:0.25 E5:0.25 A5:0.25 E5:0.25 G#5:0.25 E5:0.25 F#5:0.25 E5:0.25",
        "D5:0.25 C#5:0.25 B4:0.25 C#5:0.25 A4:0.5 -:0.5",
        "A4:0.25 C#5:0.25 E5:0.25 C#5:0.25 A4:0.5 E5:0.5",
        "B4:0.25 D5:0.25 F#5:0.25 D5:0.25 B4:0.5 F#5:0.5",
        "G#4:0.25 B4:0.25 E5:0.25 B4:0.25 D5:0.25 B4:0.25 C#5:0.25 B4:0.25",
        "A4:0.5 E5:0.5 A5:0.5 -:0.5",
        "F#5:0.25 E5:0.25 D5:0.25 E5:0.25 F#5:0.5 B4:0.5",
        "E5:0.25 D5:0.25 C#5:0.25 D5:0.25 E5:0.5 A4:0.5",
        "D5:0.25 C#5:0.25 B4:0.25 C#5:0.25 D5:0.25 B4:0.25 G#4:0.25 E4:0.25",
        "A4:0.25 B4:0.25 C#5:0.25 D5:0.25 E5:0.5 -:0.5",
        "A4:0.25 C#5:0.25 E5:0.25 C#5:0.25 A4:0.5 E5:0.5",
        "B4:0.25 D5:0.25 F#5:0.25 D5:0.25 B4:0.5 F#5:0.5",
        "C#5:0.25 E5:0.25 A5:0.25 E5:0.25 C#6:0.25 A5:0.25 E5:0.25 C#5:0.25",
        "B4:0.25 D5:0.25 G#4:0.25 B4:0.25 A4:0.5 E4:0.5",
        "A4:0.25 C#5:0.25 E5:0.25 A5:0.25 C#6:0.5 A5:0.5",
        "E5:0.5 C#5:0.5 A4:0.5 -:0.5",
        "A4:0.5 -:0.5 A3:0.5 -:0.5",
    ):
        beat = dance.line(beat, figure, short, 60)
    return dance


def dotted_march():
    march = Performance("dotted march", 92, (4, 4), 3)
    march.swell([(0, 84), (8, 92), (16, 100), (24, 88), (32, 104), (40, 112), (44, 100), (47.5, 90)])
    bars = (
        "G4!:0.75 B4:0.25 D5:0.75 B4:0.25 G4:0.75 D5:0.25 G5:1",
        "F#5!:0.75 E5:0.25 D5:0.75 C5:0.25 B4:0.75 A4:0.25 B4:1",
        "C5!:0.75 E5:0.25 G5:0.75 E5:0.25 C5:0.75 B4:0.25 A4:1",
        "D5!:0.75 C5:0.25 B4:0.75 A4:0.25 G4:1 -:1",
        "G4!:0.75 B4:0.25 D5:0.75 B4:0.25 G4:0.75 D5:0.25 G5:1",
        "A5!:0.75 G5:0.25 F#5:0.75 E5:0.25 D5:0.75 C#5:0.25 D5:1",
        "B4!:0.75 D5:0.25 G5:0.75 F#5:0.25 E5:0.75 D5:0.25 C5:1",
        "D5!:0.75 F#4:0.25 A4:0.75 C5:0.25 B4:1 -:1",
        "E5!:2 D5:0.75 C5:0.25 B4:1",
        "C5!:0.75 B4:0.25 A4:0.75 B4:0.25 C5:0.75 D5:0.25 E5:1",
        "D5!:0.75 G5:0.25 F#5:0.75 A5:0.25 G5:0.75 D5:0.25 B4:1",
        "A4!:0.75 D5:0.25 C5:0.75 F#4:0.25 G4:2",
    )
    beat = 0
    for bar in bars:
        beat = march.line(beat, bar, lambda length: length * 0.8 if length < 2 else length * 0.95, 82)
    return march


def low_song():
    song = Performance("low song", 60, (3, 4), 4)
    song.swell([(0, 52), (4, 70), (9, 60), (12, 46), (15, 72), (19, 100), (22, 84), (24, 60), (28, 66), (33, 30)])
    beat = 0
    for slur in ("C3:2 G3:1", "E3:2", "D3:1", "F3:1.5 E3:0.5", "D3:1", "C3:3", "G2:2", "A2:1 C3:1", "E3:1 G3:1", "A3:3", "G3:2", "E3:1"):
        beat = song.slur(beat, slur, 62)
    beat = song.line(beat, "F3:1 D3:1 B2:1", separate, 60)
    song.line(beat, "C3:6", separate, 54)
    return song


def slow_swell():
    swell = Performance("slow swell", 60, (4, 4), 5)
    swell.swell([(0, 18), (6, 112), (12, 20), (16, 20), (20, 96), (24, 24)])
    swell.line(0, "G3:6 D4:6 -:4 A4:4 E5:4", separate, 50)
    return swell


def run_out():
    study = Performance("run-out", 72, (4, 4), 6)
    study.swell([(0, 30), (8, 34), (8.5, 76), (16, 80), (16.5, 118), (24, 116)])
    study.line(0, "D4:8 D4:8 D4:8", separate, 60)  # the same note, soft, middling, loud: as long each time
    return study


def at_the_frog():
    study = Performance("at the frog", 88, (4, 4), 7)
    study.swell([(0, 112), (12, 118), (12.5, 60), (16, 118), (24, 122)])
    beat = study.line(0, "G3:1 G3:1 G3:1 A3:1 Bb3:1 A3:1 G3:1 -:1 G3:1 Eb4:1 D4:1 G3:1", lambda length: length * 0.5, 112)
    beat = study.line(beat, "Bb4:1 A4:1 G4:2", separate, 60)
    study.line(beat, "G3:1 G3:1 Bb3:1 A3:1 G3:1 G3:3", lambda length: length * 0.5, 116)
    return study


def quickening():
    study = Performance("quickening", 60, (2, 4), 8)
    study.swell([(0, 58), (8, 52), (16, 62)])
    notes = "A4 C5 E5 C5 B4 D5 F5 D5".split()
    beat, interval = 0.0, 0.32
    for step in range(96):
        study.note(beat, interval * 0.42, notes[step % len(notes)], 54)
        beat += interval
        interval = max(0.085, interval * 0.984)
    study.note(beat, 0.5, "A4", 54)
    return study


def thrown_chord():
    study = Performance("thrown chord", 76, (3, 4), 9)
    study.swell([(0, 70), (4, 84), (12, 66), (18, 76)])
    study.note(0, 0.05, "A#0", 40)  # the control key for ricochet
    for beat, chord in ((1, "G3 D4"), (3, "A3 E4"), (5, "G3 D4"), (7, "D4 B4"), (9, "C4 G4"), (12, "G3 D4"), (15, "D4 B4")):
        for name in chord.split():
            study.note(beat, 1.2, name, 84)
    return study


def tremolo_grows():
    study = Performance("tremolo grows", 66, (4, 4), 10)
    study.swell([(0, 16), (11, 122), (12, 122), (12.2, 20), (16, 30)])
    study.note(0, 0.05, "F0", 40)  # the control key for tremolo
    study.line(0.5, "G3:3.5 Ab3:4 Bb3:4 G3:4", separate, 40)
    study.line(16, "D4!:3", separate, 80)
    return study


def every_technique():
    """A bar of 4/4 for each, with a rest at its end; every-technique.md has the same list."""
    show = Performance("every technique", 108, (4, 4), 11)
    nearly, full = (lambda length: length * 0.85), (lambda length: length)

    def bar(number):
        return 4 * number  # after a bar of rest

    def plays(number, technique, notes, touch=nearly, velocity=64):
        show.choose(bar(number), technique)
        show.line(bar(number), notes, touch, velocity)

    show.swell([(0, 62), (bar(10) - 1, 66), (bar(10) - 0.5, 118), (bar(11) - 0.9, 116), (bar(11) - 0.4, 58), (bar(24) - 1, 60),
                (bar(24), 40), (bar(24) + 2, 70), (bar(25), 70), (bar(31) - 1, 66), (bar(31), 112), (bar(32), 112)])
    plays(1, "detache", "A4:1 B4:1 C#5:1 -:1")
    show.choose(bar(2), "legato")
    show.slur(bar(2), "A4:0.5 B4:0.5 C#5:0.5 D5:0.5 E5:0.5 D5:0.5", 60)
    plays(3, "portato", "A4:1 C#5:1 B4:1 -:1", slurred)
    plays(4, "staccato", "A4:1 B4:1 C#5:1 -:1")
    plays(5, "staccato", "A4:0.5 B4:0.5 C#5:0.5 D5:0.5 E5:0.5 D5:0.5 -:1")
    show.choose(bar(6), "next up")
    show.slur(bar(6), "E5:0.5 D5:0.5 C#5:0.5 B4:0.5 A4:0.5 G#4:0.5", 60)
    plays(7, "martele", "A4:1 E5:1 C#5:1 -:1", nearly, 84)
    plays(8, "marcato", "A4:1 E5:1 C#5:1 -:1", nearly, 84)
    plays(9, "spiccato", "A4:0.5 C#5:0.5 E5:0.5 C#5:0.5 A4:0.5 C#5:0.5 -:1", short, 54)
    plays(10, "spiccato", "G3:0.5 A3:0.5 B3:0.5 A3:0.5 G3:0.5 A3:0.5 -:1", short, 112)
    plays(11, "sautille", " ".join("A4:0.25 A4:0.25 B4:0.25 B4:0.25" for _ in range(3)) + " -:1", short, 50)
    show.choose(bar(12), "ricochet")
    show.note(bar(12), 0.9, "A4", 76)
    show.chord(bar(12) + 2, 0.9, "D4 A4", 76)
    plays(13, "hooked", "A4:0.75 B4:0.25 C#5:0.75 D5:0.25 E5:0.75 C#5:0.25 -:1", short)
    plays(14, "hooked", "A4:0.67 B4:0.33 C#5:0.67 D5:0.33 E5:0.67 C#5:0.33 -:1", short)
    show.choose(bar(15) - 0.3, "sul ponticello")
    plays(15, "detache", "A4:1 B4:1 C#5:1 -:1", full)
    show.choose(bar(16), "sul tasto")
    show.line(bar(16), "A4:1 B4:1 C#5:1 -:1", full, 60)
    show.choose(bar(17) - 0.3, "ordinary")
    plays(17, "flautando", "A4:1 B4:1 C#5:1 -:1", full, 50)
    plays(18, "col-legno-battuto", "A4:0.5 A4:0.5 A4:0.5 E5:0.5 C#5:1 -:1")
    plays(19, "col-legno-tratto", "A4:1.5 B4:1.5 -:1")
    plays(20, "pizzicato", "A4:0.5 B4:0.5 C#5:0.5 D5:0.5 E5:1 -:1")
    show.chord(bar(21), 0.8, "G3 D4 B4", 52)
    show.choose(bar(21) + 2, "next up")
    show.chord(bar(21) + 2, 0.8, "B4 D4 G3", 104)
    for step in range(5):  # strummed to and fro
        show.chord(bar(22) + step * 0.5, 0.4, "G3 D4 B4" if step % 2 == 0 else "B4 D4 G3", 84)
    plays(23, "snap-pizzicato", "G3:1 D4:1 -:2", nearly, 110)
    plays(24, "tremolo", "A4:2 C#5!:1 -:1", nearly, 60)
    plays(25, "legato", "B4:0.25", slurred)
    for step in range(1, 12):  # a trill under one bow
        show.line(bar(25) + step * 0.25, ("B4" if step % 2 == 0 else "C#5") + ":0.25", slurred, 60)
    plays(26, "harmonic", "A5:1 D5:1 E6:1 -:1", full, 56)
    plays(27, "artificial-harmonic", "B5:1 C#6:1 D6:1 -:1", full, 56)
    for step, (technique, name) in enumerate((("detache", "A4"), ("left-hand-pizzicato", "E5"), ("detache", "A4"))):
        plays(28 + step / 4, technique, name + ":1", full)
    show.choose(bar(29) - 0.4, "mute")
    plays(30, "detache", "A4:1 B4:1 C#5:1 -:1", full, 56)
    show.choose(bar(31) - 0.4, "mute")
    show.note(bar(32) - 0.2, 3, DOWN_BOWS, 40)
    show.line(bar(32), "G3:1 G3:1 A3:1", lambda length: length * 0.5, 104)
    plays(33, "read technique", "A4:1 A3:1.5", nearly)
    return show


SCENARIOS = {
    "slow-song": slow_song,
    "light-feet": light_feet,
    "dotted-march": dotted_march,
    "low-song": low_song,
    "slow-swell": slow_swell,
    "run-out": run_out,
    "at-the-frog": at_the_frog,
    "quickening": quickening,
    "thrown-chord": thrown_chord,
    "tremolo-grows": tremolo_grows,
    "every-technique": every_technique,
}


def main(arguments):
    if len(arguments) > 1 or (arguments and arguments[0].startswith("-")):
        print("usage: make.py [FOLDER]", file=sys.stderr)
        return 64
    folder = arguments[0] if arguments else os.path.dirname(os.path.abspath(__file__))
    for name, scenario in SCENARIOS.items():
        path = os.path.join(folder, name + ".mid")
        try:
            with open(path + ".new", "wb") as file:
                file.write(scenario().file())
            os.replace(path + ".new", path)
        except OSError as problem:
            print(f"{path}: {problem.strerror}; choose a folder that can be written to", file=sys.stderr)
            return 73
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
