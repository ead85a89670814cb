"""Every note that leaves the arm sounds with the technique it was meant to have, as seen by a sampler that reads the target's file.

The sampler is a state machine of its own: it knows config/targets/README.md, the TOML of each shipped target and MIDI 1.0, and
nothing of the program.  It is played what `bowarmd replay` writes of every scenario and of random performances, and compared with
the report's technique, note by note.  It also holds the output to the rules of MIDI 1.0 (Detailed Specification 4.2.1): bank select
as a pair right before its program change, the high half of a 14-bit controller before the low one, no note left on, nothing of the
channel mode but what a silence needs; and to sending nothing that a channel has already.

usage: quick_target_reader.py BOWARMD SOURCE [FIRST_SEED PERFORMANCES]
"""
import collections
import json
import os
import random
import subprocess
import sys
import tempfile

import lib_midi_file as midi

BOWARMD, SOURCE = sys.argv[1], sys.argv[2]
FIRST_SEED, PERFORMANCES = (int(sys.argv[3]), int(sys.argv[4])) if len(sys.argv) > 4 else (500, 6)
TARGETS = os.path.join(SOURCE, "config", "targets")
SCENARIOS = os.path.join(SOURCE, "scenarios")

try:
    import mido
    import tomllib
except ImportError:  # Debian's packages belong to Debian's interpreter, which need not be the first python3 on the path
    if os.environ.get("BOWARM_SECOND_TRY") or not os.path.exists("/usr/bin/python3"):
        sys.exit("mido or tomllib is missing; install python3-mido, and Python 3.11 or newer")
    os.environ["BOWARM_SECOND_TRY"] = "1"
    os.execv("/usr/bin/python3", ["/usr/bin/python3", *sys.argv])

failures = []
once = collections.Counter()  # notes that sounded once: of those the report tells all


def key_number(key):
    if isinstance(key, int):
        return key
    name, rest = key[0], key[1:]
    sharp = {"#": 1, "b": -1}.get(rest[:1], 0)
    return {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[name] + sharp + 12 * (int(rest[1:] if sharp else rest) + 1)


class Target:
    """What the file says, as plain lists of steps."""

    def __init__(self, name, instrument):
        with open(os.path.join(TARGETS, name + ".toml"), "rb") as file:
            self.text = tomllib.load(file)
        self.programs = self.text.get("instrument_programs", {})
        self.instrument = instrument
        self.channel = self.text.get("channel", 1) - 1
        self.techniques = self.text["technique"]
        self.keys = {"technique": set(), "mute": set(), "contact": set()}
        for word in self.techniques:
            for switch in self.switches(word):
                self.keys["technique"] |= {key_number(s["keyswitch"]) for s in switch if "keyswitch" in s}
        self.states = {word: self.steps(table["switch"]) for word, table in self.text.get("state", {}).items()}
        for word, switch in self.states.items():
            row = "mute" if word in ("muted", "unmuted") else "contact"
            self.keys[row] |= {key_number(s["keyswitch"]) for s in switch if "keyswitch" in s}
        self.fine = [int(c["sends"].split()[1]) for c in self.text.get("curve", []) if c["sends"].endswith(" fine")]

    @staticmethod
    def steps(switch):
        return switch if isinstance(switch, list) else [switch]

    def played_as(self, word):
        while "fallback" in self.techniques[word]:
            word = self.techniques[word]["fallback"]
        return word

    def switches(self, word):
        table = self.techniques[self.played_as(word)]
        if "same_switch_as" in table:
            table = self.techniques[table["same_switch_as"]]
        found = []
        for part in table.get("layer", [table]):
            found += [self.steps(part[key]) for key in ("switch", "down", "up") if key in part]
        return found or [[]]

    def is_key(self, key):
        return any(key in keys for keys in self.keys.values())


class Sampler:
    def __init__(self, target):
        self.target = target
        self.pressed = collections.defaultdict(list)  # (channel, row): latching keys in their order
        self.down = collections.defaultdict(set)
        self.controllers = collections.defaultdict(dict)
        self.program = {}
        self.bank = collections.Counter()
        self.notes = collections.Counter()
        self.before = None  # the message before, for what has to follow at once
        self.complaints = []

    def complain(self, what, message):
        self.complaints.append(f"{what}: {message}")

    def hear(self, m):
        channel = m.channel
        if m.type in ("note_on", "note_off"):
            self.key(channel, m.note, m.type == "note_on" and m.velocity > 0, m)
        elif m.type == "program_change":
            if (self.program.get(channel)) == (m.program, self.bank[channel]):
                self.complain("a program that the channel has already", m)
            if self.before and self.before.type == "control_change" and self.before.control == 0:
                self.complain("half a bank select before a program", m)
            self.program[channel] = (m.program, self.bank[channel])
            for row in self.target.keys:
                self.pressed[channel, row].clear()
        elif m.type == "control_change":
            self.control(channel, m)
        self.before = m

    def control(self, channel, m):
        if m.control == 0:
            self.bank[channel] = m.value * 128 + self.bank[channel] % 128
        elif m.control == 32:
            if not (self.before and self.before.type == "control_change" and self.before.control == 0):
                self.complain("the low half of a bank without its high half right before", m)
            self.bank[channel] = self.bank[channel] // 128 * 128 + m.value
        elif m.control >= 120:
            self.complain("a channel mode message in the middle of playing", m)
        elif self.before and self.before.type == "control_change" and self.before.control == 32:
            self.complain("a bank select without its program right after", m)
        if m.control - 32 in self.target.fine and m.control - 32 not in self.controllers[channel]:
            self.complain("a low half before any high half", m)
        if m.control in self.target.fine:
            self.controllers[channel][m.control + 32] = 0  # MIDI 1.0: a receiver sets it so
        self.controllers[channel][m.control] = m.value

    def key(self, channel, key, on, m):
        if not self.target.is_key(key):
            self.notes[channel, key] += 1 if on else -1
            if self.notes[channel, key] < 0:
                self.complain("a note off without its note on", m)
            return
        if not on:
            self.down[channel].discard(key)
            return
        self.down[channel].add(key)
        for row, keys in self.target.keys.items():
            if key in keys:
                self.pressed[channel, row].append(key)

    def has(self, channel, switch, row="technique"):
        if row == "technique" and next((s["channel"] - 1 for s in switch if "channel" in s), self.target.channel) != channel:
            return False
        held = {key_number(s["keyswitch"]) for s in switch if s.get("held")}
        latching = [key_number(s["keyswitch"]) for s in switch if "keyswitch" in s and not s.get("held")]
        if {key for key in self.down[channel] if key in self.target.keys[row]} != held:
            return False
        pressed = [key for key in self.pressed[channel, row] if key not in held]
        if latching and pressed[-len(latching):] != latching:
            return False
        for step in switch:
            if "controller" in step:
                low, high = step.get("values", [step.get("value")] * 2)
                if not low <= self.controllers[channel].get(step["controller"], -1) <= high:
                    return False
            if "program" in step:
                program = self.target.programs[self.target.instrument] if step["program"] == "instrument" else step["program"]
                if self.program.get(channel) != (program - 1, step.get("bank", 0)):
                    return False
        return True

    def plays(self, channel, word):
        return any(self.has(channel, switch) for switch in self.target.switches(word))

    def in_state(self, channel, note):
        wanted = (("muted" if note["muted"] else "unmuted", "mute"), (note["zone"], "contact"))
        states = self.target.states
        return all(self.has(channel, states[word], row) for word, row in wanted if word in states)


def check(path, name, instrument, folder):
    out, report = os.path.join(folder, "out.mid"), os.path.join(folder, "report.json")
    done = subprocess.run([BOWARMD, "replay", path, "--config", os.path.join(SOURCE, "config", "bowarm.toml"), "--instrument", instrument,
                           "--target", name, "--out", out, "--report", report], capture_output=True, text=True, timeout=60)
    if done.returncode:
        failures.append(f"{path}, {name}: exit {done.returncode}: {done.stderr}")
        return 0, 0
    with open(report, encoding="utf-8") as file:
        notes = json.load(file)["notes"]
    sampler, now, heard = Sampler(Target(name, instrument)), 0.0, 0
    waiting = sorted(notes, key=lambda note: note["onset_s"])
    begun = {}  # pitch: its newest note
    sounded = collections.defaultdict(list)  # note: what each of its note-ons sounded with
    for message in mido.MidiFile(out):
        now += message.time
        if message.is_meta:
            continue
        sampler.hear(message)
        if message.type != "note_on" or message.velocity == 0 or sampler.target.is_key(message.note):
            continue
        heard += 1
        first = next((n for n in waiting if n["pitch"] == message.note and abs(n["onset_s"] - now) < 0.002), None)
        if first:
            waiting.remove(first)
            begun[message.note] = first
        where = f"{os.path.basename(path)}, {name}: at {now:.3f} s key {message.note}"
        if message.note not in begun:
            failures.append(f"{where} is a note that the report does not know")
            continue
        note = begun[message.note]
        sounded[note["index"]].append({word for word in sampler.target.techniques if sampler.plays(message.channel, word)})
        if not sounded[note["index"]][-1]:
            failures.append(f"{where} sounds with no technique of the file")
        if first and not sampler.in_state(message.channel, note):
            failures.append(f"{where} sounds in another state")
    for note in notes:
        had = sounded[note["index"]]
        # The report tells the technique that a note had last; one that came back or was mended may have begun with another.
        if had and not any(note["technique"] in words for words in had):
            failures.append(f"{os.path.basename(path)}, {name}: {note['pitch']} at {note['onset_s']} s, {note['technique']}, sounded with {had}")
    failures.extend(f"{os.path.basename(path)}, {name}: {c}" for c in sampler.complaints)
    failures.extend(f"{os.path.basename(path)}, {name}: {n['pitch']} at {n['onset_s']} s was never heard" for n in waiting)
    if +sampler.notes:
        failures.append(f"{os.path.basename(path)}, {name}: still on at the end: {+sampler.notes}")
    once[name] += sum(len(had) == 1 for had in sounded.values())
    return heard, len({n["technique"] for n in notes})


def random_performance(seed, path):
    """Every technique by its control key, slurs, chords, repeated and long notes, pedals, wheels, in the range of a violin."""
    dice, events, tick = random.Random(seed), [], 0
    for _ in range(90):
        tick += dice.choice((0, 20, 60, 120, 240, 480))
        what = dice.random()
        if what < 0.14:
            key = dice.choice((*range(12, 20), 22))  # of config/bowarm.toml: techniques, G0 reads the playing again
            events += [(tick, bytes([0x90, key, 100])), (tick + 5, bytes([0x80, key, 64]))]
        elif what < 0.26:
            events.append((tick, bytes([0xB0, dice.choice((11, 11, 1, 2, 74, 102, 103, 64)), dice.randrange(128)])))
        elif what < 0.30:
            events.append((tick, bytes([0xE0, dice.randrange(128), dice.randrange(128)])))
        else:
            key = dice.randrange(55, 95)
            length = dice.choice((40, 100, 200, 400, 2000))
            events += [(tick, bytes([0x90, key, 1 + dice.randrange(127)])), (tick + length, bytes([0x80, key, 64]))]
    midi.write(path, events)


def main():
    names = sorted(os.path.splitext(f)[0] for f in os.listdir(TARGETS) if f.endswith(".toml"))
    heard, techniques = collections.Counter(), collections.Counter()
    with tempfile.TemporaryDirectory() as folder:
        performances = [(os.path.join(SCENARIOS, f), "cello" if f == "low-song.mid" else "violin")
                        for f in sorted(os.listdir(SCENARIOS)) if f.endswith(".mid")]
        for seed in range(FIRST_SEED, FIRST_SEED + PERFORMANCES):
            path = os.path.join(folder, f"random-{seed}.mid")
            random_performance(seed, path)
            performances.append((path, "violin"))
        for name in names:
            for path, instrument in performances:
                notes, words = check(path, name, instrument, folder)
                heard[name] += notes
                techniques[name] = max(techniques[name], words)
    for name in names:
        print(f"{name}: {heard[name]} note-ons, {once[name]} of notes that sound once, up to {techniques[name]} techniques in a performance")
        if once[name] < 500 or techniques[name] < 6:
            failures.append(f"{name}: too little was played to prove anything")
    for failure in failures[:30]:
        print("FAILED", failure)
    print("fine" if not failures else f"{len(failures)} failed")
    sys.exit(1 if failures else 0)


main()
