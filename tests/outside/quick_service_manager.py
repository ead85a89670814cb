"""What the service says to its manager, as sd_notify(3) and sd_watchdog_enabled(3) have it: a datagram socket of ours stands in for
the manager.  And the service refuses to be root unless told so, and the unit holds what it names."""

import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from lib_service import check, run

PROGRAM, SOURCE = sys.argv[1:3]
EXIT_USAGE = 64


class Manager:
    """Listens where NOTIFY_SOCKET points."""

    def __init__(self, abstract):
        self.folder = tempfile.TemporaryDirectory()
        self.name = f"@bowarm-test-{os.getpid()}" if abstract else os.path.join(self.folder.name, "notify")
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(self.name.replace("@", "\0", 1) if abstract else self.name)
        self.socket.settimeout(10)
        config = os.path.join(self.folder.name, "bowarm.toml")
        with open(config, "w", encoding="utf-8") as file:
            file.write('version = 1\n[midi]\nsystem = "none"\n[take]\nkeep = false\n')
        environment = dict(os.environ, NOTIFY_SOCKET=self.name, WATCHDOG_USEC="1000000", XDG_RUNTIME_DIR=self.folder.name,
                           BOWARM_DATA=os.path.join(SOURCE, "config"))
        environment.pop("WATCHDOG_PID", None)
        self.process = subprocess.Popen([PROGRAM, "run", "--as-root", "--config", config], env=environment, stderr=subprocess.DEVNULL)

    def hear(self):
        return dict(line.split("=", 1) for line in self.socket.recv(4096).decode().splitlines())

    def hear_until(self, word):
        while True:
            said = self.hear()
            if word in said:
                return said

    def end(self):
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self.socket.close()
        self.folder.cleanup()


def ready_and_stopping():
    """READY comes with a status, RELOADING is followed by READY, STOPPING comes before the end."""
    for abstract in (False, True):
        manager = Manager(abstract)
        try:
            said = manager.hear()
            check(said["READY"] == "1" and "violin for " in said["STATUS"], f"said {said}")
            manager.process.send_signal(signal.SIGHUP)
            check(int(manager.hear_until("RELOADING")["MONOTONIC_USEC"]) <= time.monotonic_ns() // 1000, "a time to come")
            check(manager.hear_until("READY")["READY"] == "1", "not ready again")
            manager.process.send_signal(signal.SIGTERM)
            check(manager.hear_until("STOPPING")["STOPPING"] == "1", "no word of stopping")
            check(manager.process.wait(10) == 0, "an odd exit code")
        finally:
            manager.end()


def watchdog():
    """The watchdog is fed while the service runs, and not by a service that stands still."""
    manager = Manager(False)
    try:
        for _ in range(3):
            manager.hear_until("WATCHDOG")
        manager.process.send_signal(signal.SIGSTOP)
        time.sleep(0.2)
        manager.socket.setblocking(False)
        try:
            while True:
                manager.hear()
        except BlockingIOError:
            pass
        manager.socket.settimeout(2)
        try:
            check("WATCHDOG" not in manager.hear(), "fed while it stood still")
        except TimeoutError:
            pass
        manager.process.send_signal(signal.SIGCONT)
        manager.socket.settimeout(10)
        manager.hear_until("WATCHDOG")
    finally:
        manager.end()


def root():
    """Root is refused with one line, unless it is asked for."""
    if os.geteuid() != 0:
        print("left out: not root here")
        return
    with tempfile.TemporaryDirectory() as folder:
        config = os.path.join(folder, "bowarm.toml")
        with open(config, "w", encoding="utf-8") as file:
            file.write('version = 1\n[midi]\nsystem = "none"\n')
        done = subprocess.run([PROGRAM, "run", "--config", config], capture_output=True, text=True, timeout=20,
                              env=dict(os.environ, BOWARM_DATA=os.path.join(SOURCE, "config")))
        check(done.returncode == EXIT_USAGE and re.fullmatch("bowarmd run: not as root; .*--as-root.*\n", done.stderr), repr(done.stderr))


sys.exit(run([ready_and_stopping, watchdog, root]))
