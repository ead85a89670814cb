"""The shipped unit under a real `systemd --user`: ready, status, reload, a crash, a hang that the watchdog ends, a wrong configuration.

    live_systemd.py BINARY SOURCE_DIR

The manager runs in mount, process and cgroup namespaces of its own (unshare(1)), so that nothing of it is left; that takes root, a
cgroup2 file system and systemd, and without them nothing is run and the reason is said.
"""
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time

from lib_service import check, run, wait_for

program, source = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
MANAGER = "/usr/lib/systemd/systemd"
CGROUPS = "/sys/fs/cgroup"
WATCHDOG_AND_STOP_S = 20 + 5 + 2  # WatchdogSec, TimeoutStopSec and RestartSec of the unit


def cgroup2():
    """Where the one hierarchy is mounted; None: nowhere."""
    with open("/proc/mounts", encoding="utf-8") as mounts:
        return next((line.split()[1] for line in mounts if line.split()[2] == "cgroup2"), None)


def why_not():
    if os.geteuid() != 0:
        return "namespaces and cgroups take root"
    for needed in ("unshare", "mount", "systemctl", MANAGER):
        if not shutil.which(needed):
            return f"no {needed}"
    if cgroup2() is None:
        return "no cgroup2 file system"
    if subprocess.run(["unshare", "-m", "-p", "-f", "--mount-proc", "-C", "true"], capture_output=True, check=False).returncode != 0:
        return "namespaces are not permitted"
    return None


def outside():
    reason = why_not()
    if reason:
        print(f"not run here: {reason}")
        return 0
    group = os.path.join(cgroup2(), f"bowarm-test-{os.getpid()}")
    try:
        os.mkdir(group)
    except OSError as trouble:
        print(f"not run here: no cgroup of our own: {trouble}")
        return 0

    def enter():
        with open(os.path.join(group, "cgroup.procs"), "w", encoding="utf-8") as file:
            file.write(str(os.getpid()))

    try:
        return subprocess.run(["unshare", "-m", "-p", "-f", "--mount-proc", "--kill-child", "-C", sys.executable, *sys.argv, "--inside"],
                              preexec_fn=enter, check=False).returncode
    finally:
        for _ in range(100):
            try:
                for path, _folders, _files in os.walk(group, topdown=False):
                    os.rmdir(path)
                break
            except OSError:
                time.sleep(0.05)


class Manager:
    """`systemd --user` and the unit in it."""

    def __init__(self):
        self.folder = tempfile.mkdtemp(prefix="bowarm-systemd-")
        self.config = os.path.join(self.folder, "bowarm", "bowarm.toml")
        for words in (["mount", "-t", "tmpfs", "tmpfs", "/run"], ["umount", "-R", CGROUPS], ["mount", "-t", "cgroup2", "none", CGROUPS]):
            subprocess.run(words, capture_output=True, check=False)
        check(os.path.exists(os.path.join(CGROUPS, "cgroup.procs")), "no private cgroup2")
        os.makedirs("/run/systemd/system")  # by which systemd knows that it was booted with
        os.makedirs("/run/user/0", mode=0o700)
        units = os.path.join(self.folder, "systemd", "user")
        os.makedirs(os.path.join(units, "bowarmd.service.d"))
        os.makedirs(os.path.dirname(self.config))
        with open(os.path.join(source, "config", "bowarmd.service.in"), encoding="utf-8") as file:
            text = file.read().replace("@BINDIR@", os.path.dirname(program))
        with open(os.path.join(units, "bowarmd.service"), "w", encoding="utf-8") as file:
            file.write(text)
        # The person of this test is root; all else is as shipped.
        with open(os.path.join(units, "bowarmd.service.d", "test.conf"), "w", encoding="utf-8") as file:
            file.write(f"[Service]\nExecStart=\nExecStart={program} run --as-root\n"
                       f"Environment=BOWARM_DATA={source}/config XDG_STATE_HOME={self.folder}\n"
                       f"StandardError=append:{self.folder}/log\n"
                       f"ExecStopPost=/bin/sh -c 'echo ended by $SERVICE_RESULT >>{self.folder}/log'\n")
        self.environment = {"PATH": os.environ["PATH"], "HOME": self.folder, "XDG_CONFIG_HOME": self.folder, "XDG_RUNTIME_DIR": "/run/user/0"}
        self.process = subprocess.Popen([MANAGER, "--user"], env=self.environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                                        stdin=subprocess.DEVNULL)
        wait_for(lambda: os.path.exists("/run/user/0/systemd/private"), "the manager's socket")

    def call(self, *words):
        return subprocess.run(["systemctl", "--user", *words], env=self.environment, capture_output=True, text=True, timeout=60, check=False)

    def of(self, name):
        return self.call("show", "bowarmd", "--value", "-p", name).stdout.strip()

    def configure(self, instrument):
        with open(self.config, "w", encoding="utf-8") as file:
            file.write(f'version = 1\n[midi]\nsystem = "none"\n[player]\ninstrument = "{instrument}"\ntarget = "general-midi"\n')

    def log(self):
        """What the service said, and as what systemd counted its ends (systemd.exec(5), SERVICE_RESULT)."""
        with open(os.path.join(self.folder, "log"), encoding="utf-8", errors="replace") as file:
            return file.read()

    def end(self):
        self.process.terminate()
        self.process.wait(20)
        shutil.rmtree(self.folder, ignore_errors=True)


def becomes_ready():
    """A start comes back when the service is ready, and its state stands in the manager's status."""
    manager.configure("violin")
    started = manager.call("start", "bowarmd")
    check(started.returncode == 0, started.stderr + manager.log())
    check(manager.of("ActiveState") == "active", manager.of("ActiveState"))
    check(manager.of("StatusText").startswith("violin for "), manager.of("StatusText"))


def reloads():
    """A reload is seen by the manager, the process stays, and the status says who plays now."""
    before = manager.of("MainPID")
    manager.configure("cello")
    check(manager.call("reload", "bowarmd").returncode == 0, "the reload")
    wait_for(lambda: manager.of("StatusText").startswith("cello for "), "the cello in the status")
    check(manager.of("MainPID") == before and manager.of("ActiveState") == "active", "another process")


def comes_back():
    wait_for(lambda: manager.of("ActiveState") == "active" and manager.of("SubState") == "running", "the service to be back", 10)


def restarts_after_a_crash():
    """After a crash it is started again, and is ready again."""
    before = manager.of("MainPID")
    os.kill(int(before), signal.SIGSEGV)
    wait_for(lambda: manager.of("NRestarts") == "1", "a restart", 20)
    comes_back()
    check(manager.of("MainPID") != before, "the same process")


def is_watched():
    """A service that stands still is killed by the watchdog and started again; one that lives is not."""
    before = manager.of("MainPID")
    os.kill(int(before), signal.SIGSTOP)
    wait_for(lambda: manager.of("NRestarts") == "2", "the watchdog's restart", 2 * WATCHDOG_AND_STOP_S)
    check(manager.log().count("ended by watchdog") == 1, "it was not the watchdog")
    comes_back()
    time.sleep(WATCHDOG_AND_STOP_S)
    check(manager.of("NRestarts") == "2" and manager.of("MainPID") != before, "a living service was killed")


def a_wrong_configuration_ends_it():
    """A configuration at fault is no reason to start again and again."""
    with open(manager.config, "a", encoding="utf-8") as file:
        file.write("nonsense = 1\n")
    check(manager.call("restart", "bowarmd").returncode != 0, "it started")
    time.sleep(4)  # twice RestartSec
    check(manager.of("ActiveState") == "failed" and manager.of("ExecMainStatus") == "78", manager.of("ExecMainStatus"))
    check(re.search(r"bowarm\.toml:\d+:\d+: ", manager.log()), "no line that says what is wrong")


def stops():
    """It stops at once, and that is a success."""
    manager.configure("violin")
    check(manager.call("start", "bowarmd").returncode == 0, "the start")
    check(manager.call("stop", "bowarmd").returncode == 0, "the stop")
    check(manager.of("ActiveState") == "inactive" and manager.of("Result") == "success", manager.of("Result"))


if "--inside" not in sys.argv:
    sys.exit(outside())
manager = Manager()
try:
    code = run([becomes_ready, reloads, restarts_after_a_crash, is_watched, a_wrong_configuration_ends_it, stops], lambda: [manager])
finally:
    manager.end()
sys.exit(code)
