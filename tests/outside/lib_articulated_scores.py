"""Scores with marked articulations, and keyboard performances of them.  It knows nothing of how bowarm reads.

How long notes are held, as a share of their written length:
  staccato 1/2, staccatissimo 1/4      O. A. Lindquist, Staccato marks, touches and tones (The Etude); the usual rule of handbooks
  staccato 0.40, repeated notes 0.60   R. Bresin & G. U. Battel, J. New Music Research 29:211 (2000), measured, abstract
  detache 0.90, marcato 2/3            common practice, no source
  legato overlaps, the more the longer the note: B. H. Repp, Haskins Labs SR-117/118:193 (1994), abstract; the share, 0.15 of
                                       the interval and 30 ms at least, is common practice, no source
A marcato note is accented: a step of the dynamics and a little more.  Dynamics are equal steps of 16 over MIDI's 128.  An
unmeasured tremolo is as fast as a hand repeats a key, 9 to 13 strikes a second.  All three: common practice, no source.
Hands: lengths spread by 15 % and onsets by 15 ms (standard deviations), velocities by 4; a separate key that comes up too late
overlaps the next by up to 20 ms, or just misses it.
"""
import random

SLURRED, SEPARATE, SHORT, ACCENTED, REPEATED = "slurred", "separate", "short", "accented-short", "fast-repeated"
FAMILIES = (SLURRED, SEPARATE, SHORT, ACCENTED, REPEATED)
RANGES = {"violin": (57, 88), "viola": (50, 79), "cello": (38, 67), "double-bass": (30, 55)}
DYNAMICS = [32, 48, 64, 80, 96, 112]  # pp p mp mf f ff

# Steps of a major scale (7 to the octave; None: a rest) and lengths in quarters.  Studies of our own, and tunes in the public
# domain from memory.
TUNES = {
    "scale": [(n, 0.5) for n in (*range(0, 8), *range(7, 0, -1), 0, *range(0, 8), *range(7, -1, -1))],
    "thirds": [(n + d, 0.5) for n in (0, 1, 2, 3, 4, 5, 6, 5, 4, 3, 2, 1, 0) for d in (0, 2)] + [(0, 1)],
    "arpeggios": [(n + d, 0.25) for n in (0, 3, 4, 0) for d in (0, 2, 4, 7, 4, 2, 0, 2)] + [(0, 1)],
    "turning": [(n + d, 0.25) for n in (4, 3, 2, 1, 0, 1) for d in (0, 1, 0, -1)] + [(0, 1), (None, 1)],
    "march": [(0, 0.5), (0, 0.5), (2, 0.5), (4, 0.5), (7, 1), (4, 1), (5, 0.5), (3, 0.5), (1, 0.5), (6, 0.5), (7, 1), (None, 1)] * 2,
    "leaps": [(0, 0.5), (4, 0.5), (2, 0.5), (6, 0.5), (4, 0.5), (8, 0.5), (7, 1), (5, 0.5), (2, 0.5), (3, 0.5), (-1, 0.5), (0, 1),
              (None, 1)] * 2,
    "ah vous dirai-je": [(n, d) for half in ((0, 0, 4, 4, 5, 5, 4), (3, 3, 2, 2, 1, 1, 0), (4, 4, 3, 3, 2, 2, 1))
                         for n, d in zip(half, (1, 1, 1, 1, 1, 1, 2))],
    "brother john": [(n, 1) for n in (0, 1, 2, 0) * 2] + [(2, 1), (3, 1), (4, 2)] * 2
                    + [(4, 0.5), (5, 0.5), (4, 0.5), (3, 0.5), (2, 1), (0, 1)] * 2 + [(0, 1), (-3, 1), (0, 2)] * 2,
    "ode": [(n, 1) for n in (2, 2, 3, 4, 4, 3, 2, 1, 0, 0, 1, 2)] + [(2, 1.5), (1, 0.5), (1, 2)]
           + [(n, 1) for n in (2, 2, 3, 4, 4, 3, 2, 1, 0, 0, 1, 2)] + [(1, 1.5), (0, 0.5), (0, 2)],
    "au clair de la lune": [(0, 1), (0, 1), (0, 1), (1, 1), (2, 2), (1, 2), (0, 1), (2, 1), (1, 1), (1, 1), (0, 2), (None, 2)] * 2,
    "on the bridge": [(0, 1), (0, 1), (0, 2), (1, 1), (1, 1), (1, 2), (2, 1), (3, 1), (4, 1), (0, 1), (-1, 1), (0, 1), (1, 1), (-3, 1)]
                     * 2,
}
MAJOR = (0, 2, 4, 5, 7, 9, 11)


def pitch_of(step, tonic):
    return tonic + 12 * (step // 7) + MAJOR[step % 7]


class Section:
    """A stretch of one tune under one marking."""

    def __init__(self, rnd, family, dynamic, tonic, quarter_s):
        self.family, self.dynamic, self.tonic, self.quarter_s = family, dynamic, tonic, quarter_s
        self.swell = rnd.choice((0, 0, 0, 0, 16, -16))
        tune = TUNES[rnd.choice(list(TUNES))]
        self.stretch = rnd.choice((0.5, 1, 1, 2))
        shortest = min(length for step, length in tune if step is not None) * quarter_s
        # Nobody plays marcato in sixteenths at a presto, nor anything in notes of a second and more for long.
        quickest = 0.20 if family == ACCENTED else 0.09
        while shortest * self.stretch < quickest:
            self.stretch *= 2
        while shortest * self.stretch > 1.0:
            self.stretch /= 2
        count = rnd.randint(2, 8) if family == REPEATED else rnd.randint(8, 32)
        start = rnd.randrange(max(1, len(tune) - 8))
        line = (tune[start:] + tune * 4)
        while line[0][0] is None:
            line = line[1:]
        self.notes = []
        for step, length in line:
            if step is None:
                if self.notes:
                    self.notes[-1][2] += length * self.stretch
                continue
            if len(self.notes) == count:
                break
            self.notes.append([pitch_of(step, tonic), length * self.stretch, 0.0])  # pitch, written length, rest after it
        self.slur = rnd.choice((2, 3, 4, 4, 6, 8))
        self.share = {SEPARATE: 0.90, SLURRED: 0.90, ACCENTED: 2 / 3, REPEATED: 0.5}.get(family) or rnd.choice((0.5, 0.5, 0.4, 0.25))


def score(rnd):
    """Seven to nine sections; neighbours differ in family, and in dynamics by a step, seldom by a sudden three."""
    instrument = rnd.choice(list(RANGES))
    low, high = RANGES[instrument]
    quarter_s = 60 / rnd.uniform(50, 160)
    level, family, sections = rnd.randrange(len(DYNAMICS)), None, []
    for _ in range(rnd.randint(7, 9)):
        family = rnd.choice([f for f in FAMILIES if f != family])
        level = min(len(DYNAMICS) - 1, max(0, level + rnd.choice((-1, 0, 0, 1) * 6 + (-3, 3))))
        sections.append(Section(rnd, family, DYNAMICS[level], rnd.randint(low + 5, high - 14), quarter_s))
    return instrument, quarter_s, sections


def planned_notes(rnd, sections):
    """What is written, with times in seconds: dicts that a hand then plays."""
    notes, now = [], 0.5
    for number, section in enumerate(sections):
        total = sum(length + rest for _, length, rest in section.notes) * section.quarter_s
        began, in_slur = now, 0
        for place, (pitch, length, rest) in enumerate(section.notes):
            loud = section.dynamic + section.swell * (now - began) / total
            last = place + 1 == len(section.notes)
            common = {"pitch": pitch, "loud": loud, "section": number, "slurs_on": False}
            if section.family == REPEATED:
                # A tremolo is written over longer notes.
                end = now + max(0.8, min(3.0, 2 * length * section.quarter_s))
                interval = 1 / rnd.uniform(9, 13)
                while now + interval / 2 < end:
                    notes.append({**common, "at": now, "length": interval, "share": section.share, "marked": REPEATED})
                    now += interval
                continue
            reached = in_slur > 0
            slurs_on = False
            if section.family == SLURRED:
                in_slur += 1
                # A key cannot be slurred to itself, nor over a rest.
                slurs_on = in_slur < section.slur and not last and rest == 0 and section.notes[place + 1][0] != pitch
                if not slurs_on:
                    in_slur = 0
            # A slur's first note takes a bow of its own: it is a separate stroke, and the others are slurred to it.
            marked = section.family if section.family != SLURRED or reached else SEPARATE
            notes.append({**common, "at": now, "length": length * section.quarter_s, "share": section.share, "marked": marked,
                          "slurs_on": slurs_on})
            now += (length + rest) * section.quarter_s
    return notes


def play(rnd, notes):
    """Hands play what is written: adds on, off, velocity and, where a foot plays, the pedal's value."""
    style = rnd.choice(("keys", "keys and pedal", "pedal"))
    last = 0.0
    for note in notes:
        note["on"] = last = max(last + 0.02, note["at"] + rnd.gauss(0, 0.015))
    for number, note in enumerate(notes):
        after = notes[number + 1] if number + 1 < len(notes) else None
        again = after is not None and after["pitch"] == note["pitch"]
        if note["slurs_on"]:
            interval = after["on"] - note["on"]
            overlap = min(0.12, max(0.030, 0.15 * interval))
            note["off"] = after["on"] + min(0.6 * after["length"], max(0.001, rnd.gauss(overlap, overlap / 3)))
        else:
            share = 0.60 if again and note["share"] > 0.60 and note["marked"] in (SEPARATE, SLURRED) else note["share"]
            note["off"] = note["on"] + max(0.03, note["length"] * share * (1 + rnd.gauss(0, 0.15)))
            if after is not None and note["off"] > after["on"]:
                accident = not again and rnd.random() < 0.5
                note["off"] = after["on"] + (rnd.uniform(0.001, 0.020) if accident else -rnd.uniform(0.005, 0.020))
            note["off"] = max(note["off"], note["on"] + 0.01)
        touch = 76 if style == "pedal" else note["loud"]
        accent = rnd.gauss(20, 5) if note["marked"] == ACCENTED else 0
        note["velocity"] = int(min(127, max(1, round(touch + accent + rnd.gauss(0, 4)))))
        note["pedal"] = None if style == "keys" else int(min(127, max(1, round(note["loud"]))))
    return notes


def performance(seed):
    """(instrument, quarter in seconds, notes as played), the same for the same seed."""
    rnd = random.Random(seed)
    instrument, quarter_s, sections = score(rnd)
    return instrument, quarter_s, play(rnd, planned_notes(rnd, sections))
