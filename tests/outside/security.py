#!/usr/bin/env python3
"""Proves: what others can reach of the service does not let them in, does not make it write where it should not, and costs bounded memory.

    security.py BOWARMD SOURCE
The threat model is in DEVELOPERS.md, "What protects what".  Another user is played with setpriv (util-linux), as root alone; elsewhere
those promises are skipped, and say so.  Sources: unix(7) for the modes and peers of sockets, symlink(7), setrlimit(2); the declared
sizes by RP-001 (Standard MIDI Files 1.0), APPNOTE.TXT 6.3.3 (ZIP), XML 1.0, and daemon/take/journal.hpp."""
import json, os, resource, shutil, socket, stat, struct, subprocess, sys, zlib

from lib_service import Failed, Service, Studio, check, run, wait_for

program, source = sys.argv[1], sys.argv[2]
MB = 1024 * 1024
services = []


def free_port():
    with socket.socket() as s:
        s.bind(('127.0.0.1', 0))
        return s.getsockname()[1]


def started(studio, *options):
    service = Service(program, studio, *options)
    services.append(service)
    wait_for(service.answers, 'the service')
    return service


def ended(service, studio):
    service.stop()
    service.end()
    services.remove(service)
    studio.remove()


def talk(address, data, seconds=3.0, family=socket.AF_UNIX):
    """What comes back until the service closes or falls silent."""
    with socket.socket(family, socket.SOCK_STREAM) as s:
        s.settimeout(seconds)
        s.connect(address)
        answer = b''
        try:
            s.sendall(data)
            while part := s.recv(65536):
                answer += part
        except (TimeoutError, ConnectionError):
            pass
        return answer.decode()


def request(method, **params):
    return (json.dumps({'jsonrpc': '2.0', 'id': 1, 'method': method, 'params': params}) + '\n').encode()


def peak_kib(service):
    with open(f'/proc/{service.process.pid}/status', encoding='ascii') as file:
        return next(int(line.split()[1]) for line in file if line.startswith('VmHWM'))


def as_nobody(code, *arguments):
    return subprocess.run(['setpriv', '--reuid=65534', '--regid=65534', '--clear-groups', sys.executable, '-c', code, *arguments],
                          capture_output=True, text=True, timeout=20, cwd='/')


def can_be_another():
    if os.geteuid() == 0 and shutil.which('setpriv'):
        return True
    print('skipped, for only root with setpriv can be another user:', end=' ')
    return False


ASK = '''
import socket, sys
s = socket.socket(socket.AF_UNIX); s.settimeout(3); s.connect(sys.argv[1])
s.sendall(b'{"jsonrpc":"2.0","id":1,"method":"panic"}\\n{"jsonrpc":"2.0","id":2,"method":"status"}\\n')
answer = b""
while part := s.recv(65536): answer += part
print(answer.decode())
'''


def another_user():
    """another user does not reach the socket, and where the modes were opened is sent away unheard"""
    if not can_be_another():
        return
    studio = Studio(source)
    service = started(studio)
    check(stat.S_IMODE(os.stat(studio.socket).st_mode) == 0o600, 'the socket is not 0600')
    check('Permission' in as_nobody(ASK, studio.socket).stderr, 'nobody reached a socket of 0600 in a folder of 0700')
    os.chmod(studio.folder, 0o755)
    check('Permission' in as_nobody(ASK, studio.socket).stderr, 'nobody reached a socket of 0600')
    os.chmod(studio.socket, 0o666)
    told = as_nobody(ASK, studio.socket).stdout
    check('"code":-32002' in told and '"result"' not in told, f'nobody was told: {told}')
    check(service.ask()['version'], 'the owner is not heard any more')
    ended(service, studio)


def files_of_others():
    """what the service writes is for its owner alone, and a socket's folder of somebody else is refused"""
    studio = Studio(source)
    service = started(studio)
    open_to_others = [path for folder, _, names in os.walk(studio.takes) for path in [folder] + [os.path.join(folder, n) for n in names]
                      if os.stat(path).st_mode & 0o077]
    check(not open_to_others, f'open to others: {open_to_others}')
    ended(service, studio)
    if os.geteuid() != 0:
        return
    studio = Studio(source)
    os.chown(studio.folder, 65534, 65534)
    refused = subprocess.run([program, 'run', '--as-root', '--config', studio.config], env=studio.environment, capture_output=True, text=True, timeout=20)
    check(refused.returncode != 0 and 'belongs to somebody else' in refused.stderr, f'taken: {refused.stderr}')
    studio.remove()


def tokens():
    """over TCP nothing is told without the token; beginnings of it are no token; it stands in no log and in no answer"""
    port = free_port()
    studio = Studio(source, extra=f'tcp_port = {port}')
    service = started(studio, '--verbose')
    token = token_in(studio)
    here = ('127.0.0.1', port)
    for wrong in ('', token[:-1], token[1:], token[:16], token + token, token.upper() + ' '):
        answer = talk(here, request('authenticate', token=wrong) + request('status'), 1.0, socket.AF_INET)
        check('"result":{"accepted":true}' not in answer and 'midi_system' not in answer, f'let in with {wrong!r}')
        check(token not in answer, 'the token was told')
    check('"result"' not in talk(here, b'POST / HTTP/1.1\r\nHost: x\r\n\r\n' + request('status'), 1.0, socket.AF_INET), 'a browser was answered')
    right = talk(here, request('authenticate', token=token) + request('status') + request('rpc.discover'), 1.0, socket.AF_INET)
    check('midi_system' in right and token not in right, 'not let in, or the token was told')
    check(token not in json.dumps(service.ask()) and token not in json.dumps(service.ask('rpc.discover')), 'the token stands in an answer')
    service.ask('log_level', {'level': 'debug'})
    service.stop()
    check(token not in service.log(), 'the token stands in the log')
    ended(service, studio)


def token_in(studio):
    found = [os.path.join(folder, name) for folder, _, names in os.walk(studio.folder) for name in names if 'token' in name]
    check(len(found) == 1, f'files with a token: {found}')
    check(stat.S_IMODE(os.stat(found[0]).st_mode) == 0o600, 'the token is not 0600')
    return open(found[0], encoding='ascii').read().strip()


def links():
    """links and dots lead nowhere: not at the socket, not in the folder of takes, not in names over the socket"""
    studio = Studio(source)
    precious = os.path.join(studio.folder, 'precious')
    with open(precious, 'w', encoding='ascii') as file:
        file.write('precious')
    os.symlink(precious, studio.socket)
    refused = subprocess.run([program, 'run', '--as-root', '--config', studio.config], env=studio.environment, capture_output=True, text=True, timeout=20)
    check(refused.returncode != 0 and 'no socket has this name' in refused.stderr, f'taken: {refused.stderr}')
    os.unlink(studio.socket)
    os.makedirs(studio.takes)
    os.symlink('/etc/passwd', os.path.join(studio.takes, 'take-20260101-100000.journal'))
    os.symlink(precious, os.path.join(studio.takes, 'take-20260101-100000.name'))
    os.symlink(precious, os.path.join(studio.takes, 'open-20260101-100000.journal'))
    os.mkfifo(os.path.join(studio.takes, 'open-20260101-100001.journal'))
    service = started(studio)
    for method, params in (('take_list', {'folder': '/etc'}), ('take_start', {'name': '../../x'}), ('log_level', {'level': '../x'})):
        answer = talk(studio.socket, request(method, **params), 0.5)
        check('"code":-32602' in answer, f'{method} took {params}: {answer}')
    ask = lambda *words: subprocess.run([program, 'takes', *words, '--takes', studio.takes], env=studio.environment, capture_output=True, text=True, timeout=20)
    check('no takes' in ask('list').stdout, 'a link is listed as a take')
    for word in ('take-20260101-100000', '..', '../precious', '/etc/passwd', precious):
        for deed in (('show', word), ('delete', word), ('keep', word), ('name', word, 'x'), ('export', word, '--out', os.path.join(studio.folder, 'o.mid'))):
            done = ask(*deed)
            check(done.returncode == 66 and 'root:' not in done.stdout + done.stderr, f'{deed}: {done.returncode} {done.stderr}')
    ended_with = service.stop()
    check(ended_with == 0, f'the service ended with {ended_with}')
    check(open(precious, encoding='ascii').read() == 'precious' and os.path.islink(os.path.join(studio.takes, 'open-20260101-100000.journal')), 'touched')
    ended(service, studio)


def outputs():
    """a link that the person names as an output keeps pointing where it does, a new file is whole or not there, and no folder is replaced"""
    studio = Studio(source)
    song = os.path.join(source, 'scenarios', 'at-the-frog.mid')
    place, link = os.path.join(studio.folder, 'place.mid'), os.path.join(studio.folder, 'link.mid')
    open(place, 'w', encoding='ascii').close()
    os.symlink(place, link)
    replay = lambda out: subprocess.run([program, 'replay', song, '--config', studio.config, '--out', out], env=studio.environment, capture_output=True, timeout=60)
    check(replay(link).returncode == 0 and os.path.islink(link) and os.path.getsize(place) > 100, 'the link was replaced')
    check(replay(studio.folder).returncode == 73, 'a folder was taken for a file')
    dangling = os.path.join(studio.folder, 'dangling.mid')
    os.symlink(os.path.join(studio.folder, 'nowhere', 'x.mid'), dangling)
    check(replay(dangling).returncode in (0, 73) and not os.path.exists(os.path.join(studio.folder, 'nowhere')), 'written through a dangling link')
    check(not [n for n in os.listdir(studio.folder) if n.endswith('.tmp')], 'a temporary file was left')
    studio.remove()


def floods():
    """lines, batches, nesting, guesses and silence at the socket are bounded, and none of them takes memory"""
    studio = Studio(source)
    service = started(studio)
    talk(studio.socket, request('rpc.discover'), 0.5)
    before = peak_kib(service)
    check('-32600' in talk(studio.socket, b'x' * 70_000, 2), 'a line of 70000 bytes was not refused')
    check('-32600' in talk(studio.socket, b'[' + b','.join([b'1'] * 101) + b']\n', 1), 'a batch of 101 was taken')
    check('-32700' in talk(studio.socket, b'[' * 33 + b']' * 33 + b'\n', 1), '33 levels were taken')
    check('-32700' in talk(studio.socket, b'[' * 60_000 + b'\n', 1), '60000 levels were taken')
    talk(studio.socket, b'y' * (20 * MB), 2)
    # Somebody who asks and never reads: answers wait up to a limit, then nothing more is read.
    idle = []
    for _ in range(20):
        s = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        s.connect(studio.socket)  # waits where the queue of newcomers is full; with a time limit it would fail at once (unix(7), EAGAIN)
        s.setblocking(False)
        try:
            for _ in range(200):
                s.send(request('rpc.discover') * 50)
        except BlockingIOError:
            pass
        idle.append(s)
    wait_for(service.answers, 'an answer beside them')
    grown = peak_kib(service) - before
    check(grown < 40 * 1024, f'it took {grown} KiB')
    for s in idle:
        s.close()
    wait_for(service.answers, 'an answer after them')
    ended(service, studio)


def record(kind, payload):
    def crc(data):
        value = 0xFFFFFFFF
        for byte in data:
            value ^= byte
            for _ in range(8):
                value = value >> 1 ^ (0x82F63B78 if value & 1 else 0)
        return value ^ 0xFFFFFFFF
    rest = struct.pack('<I', len(payload)) + bytes([kind, 1]) + payload
    return rest[:4] + struct.pack('<I', crc(rest)) + rest[4:]


def archive(claimed):
    text = b'<score-partwise/>'
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = packer.compress(text) + packer.flush()
    listing = b'<container><rootfile full-path="p"/></container>'
    out, directory = b'', b''
    for name, content, method, data, size in ((b'META-INF/container.xml', listing, 0, listing, len(listing)), (b'p', text, 8, packed, claimed)):
        shared = struct.pack('<HHHHHIIIHH', 20, 0, method, 0, 0x21, zlib.crc32(content), len(data), size, len(name), 0)
        directory += b'PK\1\2\x14\0' + shared + struct.pack('<HHHII', 0, 0, 0, 0, len(out)) + name
        out += b'PK\3\4' + shared + name + data
    return out + directory + b'PK\5\6' + struct.pack('<HHHHIIH', 0, 0, 2, 2, len(directory), len(out), 0)


def absurd_files():
    """a file that claims absurd sizes, has them, or never ends is refused with one line, within 64 MB more than a right one takes"""
    studio = Studio(source)
    path = lambda name: os.path.join(studio.folder, name)
    out = path('o.mid')
    song = os.path.join(source, 'scenarios', 'at-the-frog.mid')

    def put(name, data, length=None):
        with open(path(name), 'wb') as file:
            file.write(data)
            if length:
                file.truncate(length)  # a file of holes
        return path(name)

    def refused(why, codes, *words, most=128 * MB):
        process = subprocess.Popen([program, *words], env=studio.environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
                                   preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (20, 20)))
        said = process.stderr.read()
        _, status, usage = os.wait4(process.pid, 0)
        code = os.waitstatus_to_exitcode(status)
        check(code in codes, f'{why}: exit code {code}: {said}')
        check(said.count('\n') == 1, f'{why}: not one line: {said!r}')
        check(usage.ru_maxrss * 1024 < most, f'{why}: {usage.ru_maxrss} KiB')

    head = b'MThd\0\0\0\6\0\0\0\1\0\x60'
    replay = lambda file, *more: ('replay', file, '--config', studio.config, '--out', out, *more)
    refused('a meta event of 256 MB', (65,), *replay(put('a.mid', head + b'MTrk\xFF\xFF\xFF\xFF\0\xFF\1\xFF\xFF\xFF\x7F')))
    refused('a header of 4 GB', (65,), *replay(put('b.mid', b'MThd\xFF\xFF\xFF\xFF\0\0\0\1\0\x60')))
    refused('a MIDI file of 40 MB', (65,), *replay(put('c.mid', head, 40 * MB)))
    refused('an endless MIDI file', (65,), *replay('/dev/zero'))
    refused('a MIDI file of many years', (65,), *replay(put('d.mid', b'MThd\0\0\0\6\0\0\0\1\0\1MTrk\0\0\0\x34' + b'\xFF\xFF\xFF\x7F\x90\x3C\x40' * 7 + b'\0\xFF\x2F')))
    journal = b'bowarm-journal\n\1'
    refused('a record of 4 GB', (65,), 'recover', put('e.journal', journal + b'\xFF\xFF\xFF\xFF\0\0\0\0\2\1'), '--out', out)
    refused('a text of 4 GB in a record', (65,), 'recover', put('f.journal', journal + record(1, b'\0' * 16 + b'\xF0\xFF\xFF\xFF')), '--out', out)
    refused('a journal of a terabyte', (74,), 'recover', put('g.journal', journal, 1 << 40), '--out', out)
    refused('an endless journal', (74,), 'recover', '/dev/zero', '--out', out)
    refused('wishes of 300 MB', (65,), *replay(song, '--wishes', put('h.txt', b'1:1 up\n', 300 * MB)), most=600 * MB)
    refused('an archive that claims 4 GB', (65,), *replay(song, '--wishes', put('i.mxl', archive(0xFFFFFFFE))))
    refused('an archive that claims 200 MB', (65,), *replay(song, '--wishes', put('j.mxl', archive(200 * MB))))
    refused('XML of a hundred thousand levels', (65,), *replay(song, '--wishes', put('k.musicxml', b'<score-partwise>' + b'<a>' * 100_000)))
    refused('entities of entities', (65,), *replay(song, '--wishes', put('l.musicxml', b'<!DOCTYPE a [<!ENTITY a "aaaaaaaaaa">' + b''.join(
        b'<!ENTITY %c "%s">' % (98 + i, b'&%c;' % (97 + i) * 10) for i in range(20)) + b']><score-partwise>&u;</score-partwise>')))
    refused('a configuration of a gigabyte', (78,), 'check', '--config', put('m.toml', b'version = 1\n', 1 << 30))
    refused('an endless configuration', (78,), 'check', '--config', '/dev/zero')
    studio.remove()


# The library of Debian 12 crashes, or works for ever, on the first ones; the last ones only look odd.
CRASHERS = ['a = []\n[[a.b]]\n', 'a = [1]\n[[a.b.c]]\n', 'a = [[]]\n[[a.b]]\n', 'a = ' + '[' * 16 + ']' * 16 + '\n[[a.b]]\n', 'a = [' + '[],' * 80_000 + ']\n',
            'a.b = []\n[[a.b.c]]\n', '[' + '.'.join('a' * 15) + ']\n' * 2]


def odd_configurations():
    """a text that crashes the TOML library is refused in words, and a running service plays on with what it had"""
    studio = Studio(source)
    service = started(studio)
    with open(studio.config, encoding='utf-8') as file:
        good = file.read()
    for text in CRASHERS:
        with open(studio.config, 'w', encoding='utf-8') as file:
            file.write(text + good)
        checked = subprocess.run([program, 'check', '--config', studio.config], env=studio.environment, capture_output=True, text=True, timeout=30)
        check(checked.returncode == 78, f'{text[:40]!r}: exit code {checked.returncode}')
        answer = service.ask('reload', seconds=20)
        check(answer['accepted'] is False and answer['reasons'], f'{text[:40]!r} was taken')
    with open(studio.config, 'w', encoding='utf-8') as file:
        file.write(good)
    check(service.ask('reload', seconds=20)['accepted'], 'the right configuration is not taken any more')
    ended(service, studio)


code = run([another_user, files_of_others, tokens, links, outputs, floods, absurd_files, odd_configurations], lambda: services)
for left in list(services):
    left.end()
sys.exit(code)
