"""The real program as a child process, its status socket, and a private JACK server for it to live in."""
import contextlib
import fcntl
import json
import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time

# One fixed name for all tests: JACK's registry has eight places for the whole machine, and a server that was killed under a
# fresh name keeps its place.  The lock keeps tests that run side by side apart.
SERVER = "bowarm-private-test"


class Failed(Exception):
    pass


def check(condition, what):
    if not condition:
        raise Failed(what)


def is_sanitized(program):
    """Built with a sanitizer, whose memory and time are no figures of the program's."""
    with open(program, "rb") as file:
        text = file.read()
    return b"__tsan_init" in text or b"__asan_init" in text


def wait_for(condition, what, seconds=10.0):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        value = condition()
        if value:
            return value
        time.sleep(0.02)
    raise Failed(f"waited {seconds:g} s in vain for: {what}")


class Studio:
    """A folder of its own for configuration, takes and socket."""

    def __init__(self, source, midi='system = "none"', connect_in=(), connect_out=(), extra=""):
        self.folder = tempfile.mkdtemp(prefix="bowarm-outside-")
        self.takes = os.path.join(self.folder, "takes")
        self.socket = os.path.join(self.folder, "status.sock")
        self.config = os.path.join(self.folder, "bowarm.toml")
        quoted = lambda names: "[" + ", ".join(json.dumps(n) for n in names) + "]"
        with open(self.config, "w", encoding="utf-8") as file:
            file.write(f'''version = 1
[midi]
{midi}
[[input]]
name = "keys"
connect = {quoted(connect_in)}
[output]
name = "sampler"
connect = {quoted(connect_out)}
[player]
instrument = "violin"
target = "general-midi"
[take]
folder = {json.dumps(self.takes)}
[status]
socket = {json.dumps(self.socket)}
{extra}
''')
        self.environment = dict(os.environ, BOWARM_DATA=os.path.join(source, "config"), XDG_RUNTIME_DIR=self.folder,
                                XDG_STATE_HOME=self.folder, XDG_CONFIG_HOME=self.folder, JACK_DEFAULT_SERVER=SERVER,
                                JACK_NO_AUDIO_RESERVATION="1")

    def takes_named(self, ending, but=()):
        if not os.path.isdir(self.takes):
            return []
        return sorted(os.path.join(self.takes, n) for n in os.listdir(self.takes) if n.endswith(ending) and not n.endswith(tuple(but)))

    def remove(self):
        shutil.rmtree(self.folder, ignore_errors=True)


class Service:
    """bowarmd run."""

    def __init__(self, program, studio, *options):
        self.studio = studio
        self.log_path = os.path.join(studio.folder, "log")
        self.log_file = open(self.log_path, "ab")
        self.process = subprocess.Popen([program, "run", "--as-root", "--config", studio.config, *options], env=studio.environment,
                                        stderr=self.log_file, stdout=self.log_file, stdin=subprocess.DEVNULL)

    def log(self):
        with open(self.log_path, encoding="utf-8", errors="replace") as file:
            return file.read()

    def ask(self, method="status", params=None, seconds=2.0):
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as s:
            s.settimeout(seconds)
            s.connect(self.studio.socket)
            request = {"jsonrpc": "2.0", "id": 1, "method": method}
            if params is not None:
                request["params"] = params
            s.sendall((json.dumps(request) + "\n").encode())
            answer = b""
            while not answer.endswith(b"\n"):
                part = s.recv(65536)
                check(part, "the status socket closed without an answer")
                answer += part
        return json.loads(answer)["result"]

    def answers(self):
        try:
            return self.ask()
        except (OSError, Failed):
            return None

    def ports(self):
        status = self.answers()
        return {p["role"]: p for p in find_ports(status)} if status else {}

    def state(self, role):
        return self.ports().get(role, {}).get("state")

    def stop(self, seconds=5.0, how=signal.SIGTERM):
        if self.process.poll() is None:
            self.process.send_signal(how)
        return self.wait(seconds)

    def wait(self, seconds):
        try:
            return self.process.wait(seconds)
        finally:
            self.log_file.flush()

    def end(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self.log_file.close()


def find_ports(status):
    """The list of ports wherever the status answer keeps it."""
    if isinstance(status, dict):
        if isinstance(status.get("ports"), list):
            return status["ports"]
        for value in status.values():
            found = find_ports(value)
            if found:
                return found
    return []


class Jack:
    """A private server without sound.  A long period: a client that is late for a cycle loses the cycle's events, and on a busy
    machine without real-time priority a short one is missed now and then."""

    def __init__(self, period=1024):
        self.period = period
        self.environment = dict(os.environ, JACK_DEFAULT_SERVER=SERVER, JACK_NO_AUDIO_RESERVATION="1")
        self.process = None
        self.lock = open(os.path.join(tempfile.gettempdir(), "bowarm-private-jack.lock"), "a+")
        fcntl.flock(self.lock, fcntl.LOCK_EX)

    def start(self):
        self.process = subprocess.Popen(["jackd", "-n", SERVER, "-r", "-d", "dummy", "-p", str(self.period)], env=self.environment,
                                        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        wait_for(self.answers, "the private JACK server")

    def answers(self):
        check(self.process.poll() is None, "jackd ended by itself")
        return subprocess.run(["jack_lsp"], env=self.environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=10).returncode == 0

    def kill(self):
        # Waited for: a zombie counts as alive in JACK's registry.
        self.process.kill()
        self.process.wait()

    def end(self):
        """Ends cleanly, so that the registry has its place back even after a kill."""
        if self.process is not None:
            if self.process.poll() is not None:
                with contextlib.suppress(Failed):
                    self.start()
            self.process.send_signal(signal.SIGCONT)
            self.process.terminate()
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                print("the private JACK server does not end by itself; killed", flush=True)
                self.process.kill()
                self.process.wait()
        self.lock.close()


class Probe:
    """The keyboard and the ears; see helpers/jack_keyboard_probe.cpp."""

    def __init__(self, program, environment, name="piano"):
        self.name = name
        helper = os.path.join(os.path.dirname(os.path.abspath(program)), "tests", "outside", "helpers", "jack_keyboard_probe")
        self.process = subprocess.Popen([helper, name], env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                                        text=True, bufsize=1)
        check(self.process.stdout.readline().strip() == "ready", "the probe finds no JACK server")

    def ask(self, line):
        self.process.stdin.write(line + "\n")
        return self.process.stdout.readline().rstrip("\n")

    def connect(self, one, other):
        return self.ask(f"connect {one}\t{other}") == "ok"

    def disconnect(self, one, other):
        return self.ask(f"disconnect {one}\t{other}") == "ok"

    def ports(self):
        return [p for p in self.ask("ports").split("\t") if p]

    def send(self, *data):
        check(self.ask("send " + " ".join(f"{b:x}" for b in data)) == "ok", "the probe's queue is full")

    def play(self, keys, length=0.06, gap=0.02):
        for key in keys:
            self.send(0x90, key, 80)
            time.sleep(length)
            self.send(0x80, key, 64)
            time.sleep(gap)

    def heard(self):
        ons, offs, other, held = map(int, self.ask("heard").split())
        return {"ons": ons, "offs": offs, "other": other, "held": held}

    def notes(self):
        return [int(n) for n in self.ask("notes").split()]

    def clear(self):
        self.ask("clear")

    def end(self):
        if self.process.poll() is None:
            with contextlib.suppress(OSError):
                self.process.stdin.write("quit\n")
            try:
                self.process.wait(5)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()


def run(promises, services=lambda: ()):
    """Each promise prints a line; the first that fails ends the script with its log."""
    for promise in promises:
        try:
            promise()
            print(f"kept: {promise.__doc__.strip().splitlines()[0]}", flush=True)
        except (Failed, OSError, subprocess.TimeoutExpired, KeyError) as trouble:
            print(f"broken: {promise.__doc__.strip().splitlines()[0]}\n  {type(trouble).__name__}: {trouble}", flush=True)
            for service in services():
                print(service.log())
            return 1
    return 0
