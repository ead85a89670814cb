"""Standard MIDI Files for the tests: a small writer and a small reader of our own, from RP-001 (Standard MIDI Files 1.0)."""
import struct

TICKS = 480


def variable_length(value):
    parts = [value & 0x7F]
    while value >> 7:
        value >>= 7
        parts.append(0x80 | (value & 0x7F))
    return bytes(reversed(parts))


def write(path, events, tempo_us=500_000, meter=(4, 2), end_tick=None):
    """events: (tick, bytes of one channel message), in any order; one track, format 0."""
    body = bytearray()
    now = 0
    setup = [(0, b"\xff\x51\x03" + struct.pack(">I", tempo_us)[1:]), (0, b"\xff\x58\x04" + bytes([*meter, 24, 8]))]
    for tick, data in setup + sorted(events, key=lambda e: e[0]):
        body += variable_length(tick - now) + data
        now = tick
    body += variable_length(max(0, (end_tick or now) - now)) + b"\xff\x2f\x00"
    with open(path, "wb") as file:
        file.write(b"MThd" + struct.pack(">IHHH", 6, 0, 1, TICKS) + b"MTrk" + struct.pack(">I", len(body)) + bytes(body))


def scale(pitches, ticks=240, sounding=200, velocity=80):
    """Single notes one after the other on channel 1."""
    events = []
    for i, pitch in enumerate(pitches):
        events.append((i * ticks, bytes([0x90, pitch, velocity])))
        events.append((i * ticks + sounding, bytes([0x80, pitch, 64])))
    return events


def read_variable_length(data, at):
    value = 0
    while True:
        value = value << 7 | (data[at] & 0x7F)
        at += 1
        if not data[at - 1] & 0x80:
            return value, at


def channel_messages(path, track=None):
    """(tick, bytes) of every channel message of every track, in the order of the file; or of one track alone, from 0."""
    data = open(path, "rb").read()
    if data[:4] != b"MThd":
        raise ValueError(f"{path} is not a Standard MIDI File")
    at = 8 + struct.unpack(">I", data[4:8])[0]
    found, number = [], 0
    while at < len(data):
        size = struct.unpack(">I", data[at + 4:at + 8])[0]
        if data[at:at + 4] == b"MTrk" and track in (None, number):
            found += track_messages(data[at + 8:at + 8 + size])
        number += data[at:at + 4] == b"MTrk"
        at += 8 + size
    return found


def track_messages(track):
    found, at, tick, status = [], 0, 0, 0
    while at < len(track):
        delta, at = read_variable_length(track, at)
        tick += delta
        if track[at] & 0x80:
            status = track[at]
            at += 1
        if status in (0xFF, 0xF0, 0xF7):
            at += status == 0xFF
            size, at = read_variable_length(track, at)
            at += size
            continue
        size = 1 if status & 0xE0 == 0xC0 else 2
        found.append((tick, bytes([status]) + track[at:at + size]))
        at += size
    return found


def note_ons(messages):
    return [m for _, m in messages if m[0] & 0xF0 == 0x90 and m[2] > 0]


def is_note_off(message):
    return message[0] & 0xF0 == 0x80 or (message[0] & 0xF0 == 0x90 and message[2] == 0)


def notes_left_on(messages):
    """Keys whose note-ons outnumber their note-offs; every note-on needs a note-off of its own (MIDI 1.0, voice messages)."""
    held = {}
    for _, m in messages:
        if m[0] & 0xF0 == 0x90 and m[2] > 0:
            held[m[0] & 15, m[1]] = held.get((m[0] & 15, m[1]), 0) + 1
        elif is_note_off(m):
            held[m[0] & 15, m[1]] = held.get((m[0] & 15, m[1]), 0) - 1
    return {key: count for key, count in held.items() if count > 0}
