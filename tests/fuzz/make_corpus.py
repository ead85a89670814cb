#!/usr/bin/env python3
"""Makes the small inputs that fuzzing begins from, corpus/NAME/*, and the dictionaries NAME.dict.  The same bytes each time.

Only what means something is here: what a keyboard, a sequencer, a person with an editor or a crash could give, and the oddities that
the standards name.  Formats: MIDI 1.0 4.2.1, RP-001 (Standard MIDI Files 1.0), RP-004 (time code), JSON-RPC 2.0, TOML 1.0, MusicXML 4.0,
and tests/fuzz/playing.cpp, daemon/take/journal.hpp for our own two.
"""
import io, pathlib, struct, zipfile

HERE = pathlib.Path(__file__).resolve().parent
SOURCE = HERE.parent.parent
made = {}


def seed(harness, name, data):
    made[f'corpus/{harness}/{name}'] = data if isinstance(data, bytes) else data.encode()


def dictionary(harness, words):
    def quoted(word):
        data = word if isinstance(word, bytes) else word.encode()
        return '"' + ''.join(chr(b) if 32 <= b < 127 and chr(b) not in '"\\' else f'\\x{b:02X}' for b in data) + '"'
    made[f'{harness}.dict'] = ('\n'.join(quoted(word) for word in words) + '\n').encode()


# --- a MIDI port; the first byte is where the stream is cut
def midi_stream():
    stream = lambda name, *parts: seed('midi_stream', name, bytes([3]) + b''.join(bytes(p) for p in parts))
    stream('scale', *[[0x90, k, 80, 0x80, k, 64] for k in (60, 62, 64, 65, 67)])
    stream('running-status', [0x90, 60, 80, 60, 0, 62, 80, 62, 0, 0xF8, 64, 0xF8, 90, 64, 0])
    stream('legato', [0x90, 60, 80], [0x90, 62, 80], [0x80, 60, 0], [0x80, 62, 0])
    stream('pedals', [0xB0, 11, 100, 11, 20, 64, 127, 64, 0, 1, 30], [0xD0, 70, 71], [0xE0, 0, 64, 127, 127])
    stream('control-keys', *[[0x90, k, 1, 0x80, k, 0] for k in range(12, 26)])
    stream('exclusive-in-between', [0x90, 60], [0xF8], [80], [0xF0, 1, 2, 0xF8, 3, 0xF7], [62, 80], [0xF0, 1, 0x90, 60, 0])
    stream('exclusive-never-ends', [0xF0] + [1] * 40)
    stream('clock', [0xF2, 0, 0, 0xFA], [0xF8] * 48, [0xFC, 0xFB] + [0xF8] * 24)
    pieces = lambda h, m, s, f: [(0xF1, i << 4 | n) for i, n in enumerate([f & 15, f >> 4, s & 15, s >> 4, m & 15, m >> 4, h & 15, h >> 4 | 6])]
    stream('time-code', *pieces(1, 0, 0, 0), *pieces(1, 0, 0, 2), *pieces(1, 0, 0, 4), *pieces(1, 0, 5, 0))
    stream('time-code-full-frame', [0xF0, 0x7F, 0x7F, 1, 1, 0x61, 0, 10, 5, 0xF7])
    stream('undefined', [0xF4, 0xF5, 0xF9, 0xFD, 0xFF, 0xFE], [1, 2, 3])
    stream('all-channels', *[[0x90 | c, 60 + c, 80, 0xC0 | c, c, 0xA0 | c, 60, 5, 0x80 | c, 60 + c, 0] for c in range(16)])
    dictionary('midi_stream', [b'\xF0\x7F\x7F\x01\x01', b'\xF7', b'\xF8', b'\xF2', b'\xF1', b'\xFA', b'\xFC', b'\xB0\x40\x7F', b'\x90\x3C\x50'])


# --- Standard MIDI Files
def number(value):
    out = [value & 0x7F]
    while value := value >> 7:
        out.insert(0, 0x80 | value & 0x7F)
    return bytes(out)


def chunk(name, content, length=None):
    return name + struct.pack('>I', len(content) if length is None else length) + content


def header(form, tracks, division):
    return chunk(b'MThd', struct.pack('>HHH', form, tracks, division))


END = b'\x00\xFF\x2F\x00'
TEMPO = b'\x00\xFF\x51\x03\x07\xA1\x20'
METER = b'\x00\xFF\x58\x04\x04\x02\x18\x08'


def notes(keys, length=480, gap=0, channel=0):
    return b''.join(number(gap) + bytes([0x90 | channel, k, 80]) + number(length) + bytes([0x80 | channel, k, 64]) for k in keys)


def midi_file():
    file = lambda name, *parts: seed('midi_file', name + '.mid', b''.join(parts))
    track = lambda content: chunk(b'MTrk', content + END)
    file('one-note', header(0, 1, 480), track(notes([62])))
    file('scale', header(0, 1, 480), track(TEMPO + METER + notes(range(60, 72))))
    file('two-tracks', header(1, 3, 96), track(TEMPO + METER), track(b'\x00\xFF\x03\x06violin' + notes([62, 64, 66], 90, 6)),
         track(b'\x00\xFF\x03\x05cello' + notes([38, 40], 180, 12, 1)))
    file('running-status', header(0, 1, 96), track(b'\x00\x90\x3C\x50\x60\x3C\x00\x00\x40\x50\x60\x40\x00'))
    file('smpte', header(0, 1, 0xE728), track(notes([62, 64], 40)))
    file('drop-frames', header(0, 1, 0xE304), track(notes([62, 64], 40)))
    file('tempos', header(0, 1, 96), track(TEMPO + notes([62]) + b'\x60\xFF\x51\x03\x03\xD0\x90' + notes([64]) + b'\x00\xFF\x51\x03\x00\x00\x01' + notes([65])))
    file('tempo-zero', header(0, 1, 96), track(b'\x00\xFF\x51\x03\x00\x00\x00' + notes([62])))
    file('meters', header(0, 1, 96), track(METER + notes([62]) + b'\x00\xFF\x58\x04\x07\x03\x18\x08' + notes([64]) + b'\x00\xFF\x59\x02\xFD\x01'))
    file('exclusive', header(0, 1, 96), track(b'\x00\xF0\x03\x01\x02\xF7\x00\xF7\x02\xF3\x01' + notes([62])))
    file('controllers', header(0, 1, 96), track(b''.join(b'\x05\xB0\x0B' + bytes([v]) for v in range(0, 120, 10)) + notes([62])))
    file('pedal-and-slur', header(0, 1, 96), track(b'\x00\xB0\x40\x7F\x00\x90\x3E\x50\x60\x90\x40\x50\x06\x80\x3E\x00\x60\x80\x40\x00\x00\xB0\x40\x00'))
    file('chord', header(0, 1, 96), track(b''.join(b'\x00\x90' + bytes([k, 90]) for k in (55, 62, 71, 79)) + b'\x60' + b'\x00'.join(bytes([0x80, k, 0]) for k in (55, 62, 71, 79))))
    file('unknown-chunk', header(0, 1, 96), chunk(b'XFIH', b'abc'), track(notes([62])))
    file('long-header', chunk(b'MThd', struct.pack('>HHH', 0, 1, 96) + b'\0\0\0\0'), track(notes([62])))
    file('keys-left-down', header(0, 1, 96), track(b'\x00\x90\x3E\x50\x60\x90\x40\x50'))
    file('no-end-of-track', header(0, 1, 96), chunk(b'MTrk', notes([62])))
    file('cut-off', header(0, 1, 96), chunk(b'MTrk', notes([62, 64]), 4000))
    file('claims-four-gigabytes', header(0, 1, 96), chunk(b'MTrk', b'\x00\xFF\x01\x8F\xFF\xFF\x7F', 0xFFFFFFFF))
    file('claims-many-tracks', header(1, 65535, 96), track(notes([62])))
    file('longest-delta', header(0, 1, 1), track(b'\xFF\xFF\xFF\x7F\x90\x3E\x50\xFF\xFF\xFF\x7F\x80\x3E\x00'))
    file('format-2', header(2, 1, 96), track(notes([62])))
    file('division-zero', header(0, 1, 0), track(notes([62])))
    dictionary('midi_file', [b'MThd\0\0\0\6', b'MTrk', b'\xFF\x2F\x00', b'\xFF\x51\x03', b'\xFF\x58\x04', b'\xFF\x59\x02', b'\xFF\x03', b'\xFF\x06', b'\xF0', b'\xF7', b'\xFF\xFF\xFF\x7F', b'\xE7\x28'])


# --- the player: configuration, delay, form, way; then what | how long after in units << 4, how many, two bytes
NOW, MICROSECONDS, MS, MS4, MS20, HALF_SECONDS, TEN_SECONDS = 0, 2, 3, 4, 5, 6, 7


def playing():
    def performance(name, *inputs, config=(1, 0, 0, 0xFE)):
        seed('playing', name, bytes(config) + b''.join(bytes([what | unit << 4, count, one, two]) for what, unit, count, one, two in inputs))
    on = lambda key, unit=MS20, count=0, velocity=80: (0, unit, count, key - 48, velocity)
    off = lambda key, unit=MS20, count=0: (4, unit, count, key - 48, 64)
    line = lambda keys, held, rest: [i for k in keys for i in (on(k, MS20, rest), off(k, MS20, held))]
    scale = (62, 64, 66, 67, 69, 71, 73, 74)
    performance('detache', *line(scale, 20, 4))
    performance('short', *line(scale, 5, 10))
    performance('quick', *line(scale * 2, 3, 2))
    performance('one-key', *line([69] * 16, 3, 1))
    slurred = [on(scale[0])] + [i for a, b in zip(scale, scale[1:]) for i in (on(b, MS20, 15), off(a, MS, 30))] + [off(scale[-1], MS20, 20)]
    performance('slurred', *slurred)
    performance('held-under', on(57), *line((69, 71, 72, 74), 12, 2), off(57))
    performance('chord', *[on(k, MS, 2) for k in (55, 62, 71, 79)], *[off(k, MS20, 30 if k == 55 else 0) for k in (55, 62, 71, 79)])
    performance('chords', *[i for _ in range(4) for i in [on(k, MS, 8) for k in (57, 64, 73)] + [off(k, MS20, 10) for k in (57, 64, 73)]])
    performance('trill', on(69), *[i for _ in range(8) for i in (on(71, MS20, 4), off(71, MS20, 4))], off(69))
    performance('long', on(69), *[(7, MS20, 25, 11, v) for v in range(20, 120, 10)], off(69, TEN_SECONDS, 1))
    performance('pedal', (7, NOW, 0, 64, 127), *line(scale[:4], 20, 4), (7, NOW, 0, 64, 0), *line(scale[4:], 20, 4))
    performance('every-technique', *[i for t in range(19) for i in ((10, MS, 10, 3, t), on(69, MS20, 5), off(69, MS20, 15))])
    performance('every-command', *[i for c in range(29) for i in ((10, MS, 10, c, 64), on(69, MS20, 5), off(69, MS20, 15))])
    performance('programs', *[i for p in range(0, 128, 8) for i in ((8, MS, 10, p, 0), on(69, MS20, 5), off(69, MS20, 15))])
    performance('control-keys', *[i for k in range(12, 25) for i in ((3, MS, 10, k, 80), (6, MS, 10, k, 0), on(69, MS20, 5), off(69, MS20, 15))])
    performance('tempo-and-meter', (11, NOW, 0, 0x7A, 0x12), (12, NOW, 0, 4, 2), *line(scale, 20, 4), (12, NOW, 0, 7, 3), *line(scale, 10, 2))
    performance('tempo-zero', (11, NOW, 0, 0, 0), (12, NOW, 0, 0, 0), *line(scale, 20, 4), (12, NOW, 0, 255, 255))
    performance('clock', (14, NOW, 0, 1, 0), *[i for k in scale for i in [on(k)] + [(14, MS, 21, 0, 0)] * 12 + [off(k)]], (14, NOW, 0, 3, 0))
    performance('clocks-at-once', (14, NOW, 0, 1, 0), *[(14, NOW, 0, 0, 0)] * 30, on(62), (14, MS, 9, 0, 0), off(62))
    performance('notes-at-once-in-a-bar', (11, NOW, 0, 0x7A, 0x12), (12, NOW, 0, 4, 2), *[i for k in scale for i in (on(k, NOW), off(k, NOW))])
    performance('song-position', (15, NOW, 0, 1, 16), (14, NOW, 0, 2, 0), *line(scale, 20, 4), (15, MS, 1, 0, 3))
    performance('two-keyboards', on(62), (0, MS20, 5, 0x80 | 14, 80), off(62, MS20, 10), (4, MS20, 5, 0x80 | 14, 64))
    performance('keyboard-lost', on(62), on(69, MS20, 10), (13, MS20, 5, 0, 0), (13, MS20, 5, 0, 1), *line(scale[:2], 20, 4))
    performance('gap', on(62), (13, MS20, 5, 0, 2), on(64, MS20, 5), off(64, MS20, 5))
    performance('bypass', on(62), (10, MS20, 2, 1, 0), off(62, MS20, 5), *line(scale[:2], 9, 4), (10, MS20, 2, 2, 0), *line(scale[:2], 9, 4))
    performance('panic', on(62), on(69), (10, MS20, 5, 0, 0), off(62), off(69))
    performance('same-key-twice', on(62), on(62, MS20, 4), off(62, MS20, 4), off(62, MS20, 4))
    performance('out-of-range', (3, NOW, 0, 30, 80), (6, MS20, 9, 30, 0), (3, MS, 5, 126, 80), (6, MS20, 9, 126, 0))
    performance('minutes-long', on(62), (7, TEN_SECONDS, 12, 11, 3), (7, TEN_SECONDS, 12, 11, 90), off(62, TEN_SECONDS, 12))
    performance('all-at-once', *[on(k, NOW) for k in range(55, 79)], *[off(k, NOW) for k in range(55, 79)])
    performance('delayed', *slurred, config=(3, 200, 0, 0xFF))
    performance('desks', *[on(k, MS, 1) for k in (55, 62, 71)], *[off(k, MS20, 9) for k in (55, 62, 71)], *line(scale, 20, 4), config=(4, 0, 0x12, 0xFE))
    performance('slow-cable', *line(scale, 10, 2), *[(7, MS, 5, 11, v) for v in range(0, 127, 6)], config=(5, 0, 0xE0, 0xFE))
    performance('section', *slurred, config=(6, 150, 0x61, 0xC1))


# --- journals
def crc32c(data):
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x82F63B78 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


def record(kind, payload, version=1):
    rest = struct.pack('<I', len(payload)) + bytes([kind, version]) + payload
    return rest[:4] + struct.pack('<I', crc32c(rest)) + rest[4:]


def journals():
    begin = b'bowarm-journal\n\x01'
    text = lambda s: struct.pack('<I', len(s)) + s.encode()
    texts = lambda: text('/home/me/bowarm.toml') + text('version = 1\n') + text('violin.toml') + text('') + text('general-midi.toml') + text('')
    head = lambda past=-1, wall=1_700_000_000: record(1, struct.pack('<qq', wall, past) + text('build') + text('0.1.0') + texts())
    def played(ms, *message, source=0, kind=0):
        data = bytes(message).ljust(7, b'\0') + bytes([len(message)]) if kind == 0 else bytes(message).ljust(8, b'\0')
        return record(2, struct.pack('<qBB', ms * 1_000_000, source, kind) + data)
    check = lambda ms, count, value: record(3, struct.pack('<qQQ', ms * 1_000_000, count, value))
    gap = lambda ms, lost: record(4, struct.pack('<qQ', ms * 1_000_000, lost))
    end = lambda first, last: record(5, struct.pack('<qq', first * 1_000_000, last * 1_000_000))
    renewed = lambda ms: record(6, struct.pack('<q', ms * 1_000_000) + texts())
    tune = lambda at=0: b''.join(played(at + 500 * i, 0x90, 62 + 2 * i, 80) + played(at + 500 * i + 450, 0x80, 62 + 2 * i, 64) for i in range(4))
    def file(name, *parts):
        data = begin + b''.join(parts)
        seed('journal', name, data + b'' if len(data) % 4 != 3 else data + record(9, b'x'))
    seed('journal', 'empty', b'')
    file('only-the-beginning')
    file('a-take', head(), tune(), check(100, 3, 12345), end(0, 2000))
    file('cut-off', head(), tune(), tune(3000)[:-5])
    file('with-a-past', head(2000), tune(), tune(30000), end(30000, 32000))
    file('reloaded', head(), tune(), played(2500, kind=7), renewed(2500), check(2600, 0, 0), tune(3000), end(3000, 5000))
    file('gap', head(), tune(), gap(2100, 5), tune(3000))
    file('commands', head(), played(0, 3, 6, kind=3, source=254), tune(10), played(4000, 0, kind=3, source=254))
    file('tempo', head(), played(0, 7, 0xA1, 0x20, kind=1, source=255), played(0, 4, 2, kind=2, source=255), tune())
    file('of-a-later-version', head(), record(2, b'abcdefgh', 2), record(77, b'new'), tune())
    file('no-head', tune(), end(0, 2000))
    file('two-heads', head(), head(), tune())
    file('stamps-fall', head(), tune(3000), tune(0))
    file('end-before-beginning', head(), tune(), end(2000, 0))
    file('end-at-the-end-of-time', head(wall=2**63 - 1), tune(), record(5, struct.pack('<qq', -2**63, 2**63 - 1)))
    file('renewed-at-the-end-of-time', head(past=2**63 - 1), record(6, struct.pack('<q', 2**63 - 1) + texts()), tune())
    file('claims-four-gigabytes', head(), struct.pack('<II', 0xFFFFFFFF, 0) + b'\x02\x01abc')
    file('text-claims-more', record(1, struct.pack('<qq', 0, 0) + struct.pack('<I', 0xFFFFFFF0) + b'abc'))
    dictionary('journal', [begin, b'\x02\x01', b'\x03\x01', b'\x04\x01', b'\x05\x01', b'\x06\x01', b'\xFF' * 8, b'\xFF' * 7 + b'\x7F', b'\0' * 7 + b'\x80', b'\x12\0\0\0'])


# --- wishes
def music_xml(body, divisions=1):
    return ('<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
            '"http://www.musicxml.org/dtds/partwise.dtd">\n<score-partwise version="4.0"><part-list><score-part id="P1">'
            f'<part-name>Violin</part-name></score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>{divisions}'
            f'</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>{body}</measure></part></score-partwise>\n')


def xml_note(step, marks='', duration=1, before='', octave=4, slur=''):
    technical = f'<notations>{slur}<technical>{marks}</technical></notations>' if marks or slur else ''
    return f'<note>{before}<pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{duration}</duration><voice>1</voice>{technical}</note>'


def archive(document, name='part.musicxml', stored=False):
    out = io.BytesIO()
    with zipfile.ZipFile(out, 'w', zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED) as z:
        put = lambda n, t: z.writestr(zipfile.ZipInfo(n, (1980, 1, 1, 0, 0, 0)), t, zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED)
        put('META-INF/container.xml', f'<container><rootfiles><rootfile full-path="{name}"/></rootfiles></container>')
        put(name, document)
    return out.getvalue()


def wishes():
    text = lambda name, content: seed('wishes', name, content)
    text('readme.txt', '12:3 up\n20:1 retake down\nnote 57 down\n14:1 same-bow\n')
    text('of-the-tune.txt', '# the first bar\n1:1 up\n1:2 down  # as ever\n1:3 retake down\n\n2:1 same-bow\nnote 9 up\n3:2.5 up\n')
    text('contradiction.txt', '1:1 up\nnote 0 down\n')
    text('windows.txt', '\ufeff1:1 up\r\n1:2\tdown\r\n')
    text('wrong.txt', '1:1 sideways\n')
    text('numbers.txt', '1000000:255 up\nnote 100000000 down\n0:0 up\n1:1e9 up\n')
    text('marks.musicxml', music_xml(xml_note('D', '<down-bow/>') + xml_note('E') + xml_note('F', '<up-bow/>') + xml_note('G')))
    text('slurs.musicxml', music_xml(xml_note('D', '<down-bow/>', slur='<slur type="start"/>') + xml_note('E', slur='<slur type="stop"/>') + xml_note('F')))
    text('lift.musicxml', music_xml('<note><pitch><step>D</step><octave>4</octave></pitch><duration>1</duration><notations><articulations>'
                                    '<breath-mark>comma</breath-mark></articulations><technical><down-bow/></technical></notations></note>' + xml_note('E', '<down-bow/>')))
    text('chord-and-voices.musicxml', music_xml(xml_note('D', '<up-bow/>') + xml_note('A', before='<chord/>') + '<backup><duration>1</duration></backup>'
                                                '<note><pitch><step>G</step><octave>3</octave></pitch><duration>2</duration><voice>2</voice></note><forward><duration>1</duration></forward>'))
    text('pizzicato.musicxml', music_xml('<direction><direction-type><words>pizz.</words></direction-type></direction>' + xml_note('D') +
                                         '<direction><direction-type><words>arco</words></direction-type></direction>' + xml_note('E', '<up-bow/>') + '<note><rest/><duration>4</duration></note>' + xml_note('F')))
    text('entities.musicxml', music_xml('<direction><direction-type><words>&lt;&#65;&#x42;&amp;</words></direction-type></direction>' + '<!-- a comment --><?editor x?><![CDATA[<>]]>' + xml_note('D', '<up-bow/>')))
    text('transposed.musicxml', music_xml('<attributes><transpose><chromatic>-12</chromatic><octave-change>-1</octave-change></transpose></attributes>' + xml_note('D', '<up-bow/>')))
    text('grace-and-tie.musicxml', music_xml(xml_note('C', before='<grace/>') + xml_note('D', '<up-bow/>') + xml_note('D', before='<tie type="stop"/>') + xml_note('E', before='<cue/>')))
    text('huge-numbers.musicxml', music_xml(xml_note('D', '<up-bow/>', duration=9223372036854775807) + '<backup><duration>-9223372036854775808</duration></backup>', divisions=99999999999))
    text('deep.musicxml', '<score-partwise>' + '<a>' * 70)
    text('entity-bomb.musicxml', '<!DOCTYPE a [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]><score-partwise>&b;</score-partwise>')
    text('not-a-part.musicxml', '<score-timewise></score-timewise>')
    document = music_xml(xml_note('D', '<down-bow/>') + xml_note('E') + xml_note('F', '<up-bow/>'))
    text('deflated.mxl', archive(document))
    text('stored.mxl', archive(document, stored=True))
    cut = archive(document)
    text('cut-off.mxl', cut[:-30])
    at = cut.rindex(b'PK\x01\x02')
    text('claims-four-gigabytes.mxl', cut[:at + 24] + b'\xFE\xFF\xFF\xFF' + cut[at + 28:])
    text('of-zeros.mxl', archive('<score-partwise>' + '0' * 200_000))
    dictionary('wishes', ['up', 'down', 'retake', 'same-bow', 'note ', ':', '#', 'PK\x03\x04', 'PK\x01\x02', 'PK\x05\x06', '<note>', '</note>', '<chord/>', '<grace/>', '<rest/>',
                          '<up-bow/>', '<down-bow/>', '<slur type="start"/>', '<slur type="stop"/>', '<backup>', '</backup>', '<forward>', '<duration>', '</duration>', '<divisions>',
                          '<breath-mark/>', '<tie type="stop"/>', '<measure>', '</measure>', '<part>', '<voice>', '<words>', '<![CDATA[', ']]>', '<!--', '-->', '&#x10FFFF;', '&amp;', '<!DOCTYPE'])


# --- the status socket
METHODS = ('alternate amount authenticate bypass choose_player contact_point down_bows log_level loudness mute next_stroke open_strings panic '
           'players ports read_technique reload rpc.discover same_bow status string subscribe take_list take_start take_stop tap technique '
           'unsubscribe version zone').split()
PARAMETERS = 'player on value direction technique zone string token rate events level bar retake name'.split()


def rpc_lines():
    request = lambda method, params=None, number=1: '{"jsonrpc":"2.0","method":"%s"%s,"id":%s}' % (method, '' if params is None else ',"params":' + params, number)
    for i in range(0, len(METHODS), 3):
        seed('rpc_lines', f'methods-{i // 3}', ''.join(request(m) + '\n' + request(m, given) + '\n' for m in METHODS[i:i + 3] for given in (
            '{"player":0,"on":true}', '{"value":0.5}', '{"technique":"spiccato"}')))
    line = lambda name, *lines: seed('rpc_lines', name, '\n'.join(lines))
    line('subscribe-to-all', request('subscribe', '{"player":0,"rate":50,"events":["note","stroke","technique","bow-change","retake","warning","port","take"]}'), request('unsubscribe'))
    line('batch', '[' + ','.join([request('status'), '{"jsonrpc":"2.0","method":"panic"}', '1', '{}']) + ']', '[]', '[1,2,3]')
    line('odd-ids', *['{"jsonrpc":"2.0","method":"status","id":%s}' % i for i in ('null', '"x"', '1.5', '-1', '18446744073709551615', '{}', '[]', '"\\u0000"')])
    line('odd-numbers', *[request('subscribe', '{"rate":%s}' % n) for n in ('1e308', '-1', '0', '1e-320', '9999999999999999999999', '"5"', 'null')])
    line('deep', '[' * 40 + ']' * 40, '{"a":' * 33 + '1' + '}' * 33)
    line('not-json', '{', '}', '"', '{"jsonrpc": "2.0", "method": "status", "id": 1', "{'a':1}", '\x00', '\u00e9')
    seed('rpc_lines', 'not-utf-8', b'{"jsonrpc":"2.0","method":"\xff\xfe","id":"\xc0\xaf"}')
    line('surrogates', '{"jsonrpc":"2.0","method":"status","id":"\\ud800"}', '{"jsonrpc":"2.0","method":"status","id":"\\ud834\\udd1e"}')
    line('same-name-twice', '{"jsonrpc":"2.0","jsonrpc":"2.0","method":"status","method":"panic","id":1,"id":2}')
    line('by-position', request('status', '[0]'), request('status', '[]'), request('status', '{"palyer":0}'))
    dictionary('rpc_lines', ['"jsonrpc":"2.0"', '"method":', '"params":', '"id":', '[', ']', '{', '}', '\\u', 'null', 'true', '1e308', '-0'] + [f'"{m}"' for m in METHODS] + [f'"{p}"' for p in PARAMETERS])


# --- configurations; for `configuration` the first byte says which file it is
def configurations(shipped):
    for number, path in shipped:
        # Without the comments: a # with an even number of quotes before it is no part of a text.
        lines = [next((line[:i] for i, c in enumerate(line) if c == '#' and line[:i].count('"') % 2 == 0), line).rstrip() for line in path.read_text().split('\n')]
        text = '\n'.join(line for line in lines if line) + '\n'
        seed('configuration', path.parent.name + '-' + path.stem, bytes([number]) + text.encode())
        if number == 0 or path.stem == 'general-midi':
            seed('toml_text', path.stem + '.toml', text)
    player = lambda name, text: seed('configuration', name, b'\x00' + ('version = 1\n' + text).encode())
    player('several-players', ''.join(f'[[player]]\nname = "p{i}"\nchannel = {i}\ntarget_channel = {i}\n' for i in range(1, 4)))
    player('split', '[[input]]\nname = "a"\n[[player]]\nname = "l"\nsplit_to = "B3"\ninputs = ["a"]\n[[player]]\nname = "r"\nsplit_from = "C4"\ntranspose = -12\nunder_hands = true\n')
    player('desks', '[player]\ndesks = 4\ndesk_channels = true\ndelay_s = 0.5\nchord_hold_s = 0.025\n[output]\ncable = "din"\n')
    player('actions', ''.join(f'[[controls.key]]\nkey = {k}\ndoes = "{does}"\n' for k, does in enumerate(['technique spiccato', 'panic', 'bypass', 'next up', 'string G', 'player 2', 'tap beat'])))
    player('wrong-kinds', 'midi = 3\ninput = "x"\nplayer = []\ncontrols = [1]\ntake = true\n[status]\nsocket = 5\ntcp_port = "x"\n')
    player('numbers', '[player]\ndelay_s = nan\nchord_hold_s = inf\ndesks = -9223372036854775808\n[time]\ntempo = 1e309\nmeter = "4/4"\n')
    player('expression', '[[input]]\nname = "a"\nconnect = ["re:^synth.*[12]$", "\\"whole\\"", "a*b", "re:("]\n')
    plain = lambda name, text: seed('toml_text', name, text)
    plain('kinds.toml', 'a = 1\nb = -0x1F\nc = 1_000.5e-3\nd = true\ne = 2026-01-01T00:00:00Z\nf = \'\'\'\nx\'\'\'\ng = """\\\n  y"""\nh = {i = [1, [2]], j.k = 3}\n[l."m n".o]\n[[p]]\n[[p]]\nq = inf\n')
    plain('value-and-table.toml', 'a = []\n[[a.b]]\n')
    plain('twice.toml', 'a = 1\na = 2\n')
    plain('cut-off.toml', 'a = "x')
    plain('escapes.toml', 'a = "\\u00e9\\U0010FFFF\\x\\"\\\\"\nb = \'\\\'\n')
    plain('controls.toml', 'version = 1\r\n[controls]   # mine\r\nloudness = 11 # pedal\r\n[[controls.key]]\r\nkey = "A0"\r\ndoes = "panic"\r\n')
    plain('deep.toml', 'a = ' + '[' * 16 + ']' * 16 + '\n' + 'b.' * 14 + 'c = 1\n')
    plain('not-utf-8.toml', b'a = "\xe9"\n')
    words = ['version = 1', '[player]', '[[player]]', '[[input]]', '[output]', '[controls]', '[[controls.key]]', '[[controls.controller]]', '[[controls.program]]', '[time]', '[take]', '[status]', '[vibrato]', '[lamps]',
             'does = "', 'technique ', 'key = "C4"', 'true', 'inf', 'nan', '"""', "'''", '{', '}', '[', ']', ',', '.', '#', '\\u', '2026-01-01']
    dictionary('toml_text', words)
    dictionary('configuration', words + ['[technique.detache]', '[[curve]]', '[state]', '[[pass]]', 'keyswitch = ', 'program = ', 'controller = ', 'quantity = ', 'from = ', 'to = ', 'mix = ', 'speaks_after_s = ', 'fallback = ', 'channel = ', 'same_switch_as = '])


midi_stream()
midi_file()
playing()
journals()
wishes()
rpc_lines()
configurations([(0, SOURCE / 'config/bowarm.toml')] + [(1, SOURCE / 'config/instruments/cello.toml')] +
               [(2, SOURCE / f'config/targets/{name}.toml') for name in ('general-midi', 'held-keyswitches', 'physical-model', 'channel-per-technique')])

for name, data in made.items():
    (HERE / name).parent.mkdir(parents=True, exist_ok=True)
    (HERE / name).write_bytes(data)
print(f'{len(made)} files, {sum(map(len, made.values()))} bytes')
