"""The companion shows what the service says, in text, as JSON and on a full screen of 80 by 24, without colour, without
UTF-8, through resizes and through the service's going and coming; its errors are one line and a fitting exit code.
The expected words come from the snapshot the fake service sends; exit codes from sysexits.h."""

import fcntl
import json
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import tempfile
import termios
import time
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from lib_fake_service import FakeService

WATCH = os.path.join(sys.argv[2], "daemon", "status", "bowarm-watch")


def run(*words, **more):
    environment = dict(os.environ, LC_ALL="C.UTF-8")
    environment.update(more.pop("env", {}))
    for name in [name for name, value in environment.items() if value is None]:
        del environment[name]
    return subprocess.run([sys.executable, WATCH, *words], stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=30,
                          env=environment, **more)


class Terminal:
    """A pseudo-terminal and what a screen would show: cursor moves, erasing and text, as ECMA-48 defines them."""

    def __init__(self, rows, columns, *words, **environment):
        self.rows, self.columns = rows, columns
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.execve(sys.executable, [sys.executable, WATCH, *words], dict(os.environ, **environment))
        self.resize(rows, columns)
        self.raw = b""

    def resize(self, rows, columns):
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        os.kill(self.pid, signal.SIGWINCH)

    def read_for(self, seconds):
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            if select.select([self.fd], [], [], left)[0]:
                try:
                    self.raw += os.read(self.fd, 65536)
                except OSError:
                    return

    def wait_for(self, pattern, seconds=20):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.read_for(0.2)
            if re.search(pattern, self.text()):
                return True
        return False

    def text(self):
        """Everything printed, without the control sequences."""
        return re.sub(r"\x1b(\[[0-9;?]*[A-Za-z]|[()][A-Z0-9]|[=>78])", " ", self.raw.decode("utf-8", "replace"))

    def forget(self):
        self.raw = b""

    def key(self, letter):
        os.write(self.fd, letter.encode())

    def end(self):
        """The exit code, or None when it does not end by itself in twenty seconds."""
        give_up = time.monotonic() + 20
        while time.monotonic() < give_up:
            self.read_for(0.1)
            time.sleep(0.02)  # a terminal that has been hung up is read in no time
            pid, outcome = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                os.close(self.fd)
                return os.waitstatus_to_exitcode(outcome)
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.fd)
        return None


class Companion(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.path = os.path.join(self.folder.name, "s")
        self.service = FakeService(self.path)

    def tearDown(self):
        if self.service:
            self.service.close()
        self.folder.cleanup()

    def stop(self):
        self.service.close()
        self.service = None

    def test_once_is_a_block_of_text(self):
        done = run("--once", "--socket", self.path)
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        for word in ("violin", "0.31 m/s", "playable 0.25 to 1.40 N", "clock, 90 % sure", "0.110", "the hair ran out", "in keys: open, a keyboard\n", "out strings: waiting\n"):
            self.assertIn(word, done.stdout)

    def test_json_is_one_snapshot(self):
        done = run("--json", "--socket", self.path)
        self.assertEqual(done.returncode, 0)
        self.assertEqual(done.stdout.count("\n"), 1)
        self.assertEqual(json.loads(done.stdout)["force_low_n"], 0.25)

    def test_follow_is_an_event_a_line_until_the_service_ends(self):
        watch = subprocess.Popen([sys.executable, WATCH, "--follow", "--socket", self.path], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        lines = [json.loads(watch.stdout.readline()) for _ in range(3)]
        self.assertEqual([line["event"] for line in lines], ["note", "stroke", "warning"])
        self.stop()
        self.assertEqual(watch.wait(20), 69)
        self.assertEqual(watch.stderr.read().count("\n"), 1)
        watch.stdout.close()
        watch.stderr.close()

    def test_do_calls_a_method_once(self):
        for words, params in (((), None), (("on=true",), {"on": True}), (('{"on": false}',), {"on": False}), (("name=G", "player=0"), {"name": "G", "player": 0})):
            with self.subTest(words=words):
                done = run("do", "panic", *words, "--socket", self.path)
                self.assertEqual((done.returncode, json.loads(done.stdout)), (0, {"accepted": True}), done.stderr)
                self.assertEqual(self.service.asked[-1], ("panic", params))

    def test_several_players_are_rows_and_a_digit_shows_one(self):
        self.stop()
        self.service = FakeService(self.path, players=5)
        terminal = Terminal(24, 80, "--socket", self.path, TERM="xterm", LC_ALL="C.UTF-8")
        for word in ("first desk", "desk 5"):
            self.assertTrue(terminal.wait_for(word), word)
        terminal.key("2")
        self.assertTrue(terminal.wait_for("frog"))
        self.assertEqual([params["player"] for method, params in self.service.asked if method == "subscribe"], [1])
        terminal.forget()
        terminal.key("0")
        self.assertTrue(terminal.wait_for("desk 5"))
        terminal.key("q")
        self.assertEqual(terminal.end(), 0)

    def test_the_usual_socket_is_in_the_runtime_folder(self):
        os.mkdir(os.path.join(self.folder.name, "bowarm"))
        os.symlink(self.path, os.path.join(self.folder.name, "bowarm", "status.sock"))
        self.assertEqual(run("--json", env={"XDG_RUNTIME_DIR": self.folder.name}).returncode, 0)

    def test_errors_are_one_line_with_a_fitting_code(self):
        rows = (
            (69, ("--once", "--socket", self.path + "x")),
            (69, ("--once", "--socket", "x" * 200)),
            (64, ("--rate", "0", "--socket", self.path)),
            (64, ("--rate", "often")),
            (64, ("--once", "--json")),
            (64, ("--bow",)),
            (64, ("do",)),
            (64, ("undo", "panic")),
            (64, ("do", "panic", "now", "--socket", self.path)),
            (64, ("do", "panic", "{now}", "--socket", self.path)),
            (64, ("--follow", "--once")),
            (64, ("--socket", self.path)),  # no terminal
            (64, ("--once", "--player", "3", "--socket", self.path)),
        )
        for code, words in rows:
            with self.subTest(words=words):
                done = run(*words)
                self.assertEqual(done.returncode, code, done.stderr)
                self.assertEqual(done.stdout, "")
                self.assertEqual(done.stderr.count("\n"), 1)
                self.assertTrue(done.stderr.startswith("bowarm-watch: "))
        self.assertEqual(run("--once", env={"XDG_RUNTIME_DIR": None}).returncode, 64)
        relative = run("--once", env={"XDG_RUNTIME_DIR": "here"})
        self.assertEqual(relative.returncode, 64)
        self.assertIn("not set to an absolute path", relative.stderr)

    def test_a_full_screen_at_80_by_24(self):
        for environment in ({"TERM": "xterm-256color", "LC_ALL": "C.UTF-8"}, {"TERM": "vt100", "LC_ALL": "C.UTF-8"}, {"TERM": "xterm", "LC_ALL": "C"}):
            with self.subTest(**environment):
                terminal = Terminal(24, 80, "--socket", self.path, **environment)
                for word in ("frog", "tip", "0.31 m/s", "too light", "too heavy", "fingerboard", "seconds of hair left", "clock, 90 % sure", "the hair ran out"):
                    self.assertTrue(terminal.wait_for(re.escape(word)), word)
                if environment["LC_ALL"] == "C":
                    self.assertTrue(terminal.text().isascii())
                if environment["TERM"] == "vt100":
                    self.assertIsNone(re.search(rb"\x1b\[([0-9;]*;)?3[0-7]m", terminal.raw))  # ECMA-48, 8.3.117: no colour is set
                terminal.key("q")
                self.assertEqual(terminal.end(), 0)

    def test_the_window_may_change_its_size_down_to_nothing(self):
        terminal = Terminal(24, 80, "--socket", self.path, TERM="xterm", LC_ALL="C.UTF-8")
        self.assertTrue(terminal.wait_for("frog"))
        for rows, columns in ((10, 40), (1, 1), (2, 300), (60, 200), (24, 80)):
            terminal.resize(rows, columns)
            terminal.read_for(0.4)
        terminal.forget()
        terminal.resize(25, 81)
        self.assertTrue(terminal.wait_for("frog"))
        terminal.key("q")
        self.assertEqual(terminal.end(), 0)

    def test_it_waits_for_a_service_that_went_and_comes_back(self):
        terminal = Terminal(24, 80, "--socket", self.path, TERM="xterm", LC_ALL="C.UTF-8")
        self.assertTrue(terminal.wait_for("frog"))
        self.stop()
        self.assertTrue(terminal.wait_for("Waiting for the service"))
        terminal.forget()
        self.service = FakeService(self.path)
        self.assertTrue(terminal.wait_for("frog"))
        terminal.key("q")
        self.assertEqual(terminal.end(), 0)

    def test_the_reason_for_waiting_is_all_there_at_80_columns(self):
        path = os.path.join(self.folder.name, "x" * 60)
        terminal = Terminal(24, 80, "--socket", path, TERM="xterm", LC_ALL="C.UTF-8")
        self.assertTrue(terminal.wait_for("its\\s+socket\\?"))
        terminal.key("q")
        self.assertEqual(terminal.end(), 0)

    def test_a_small_window_tells_how_to_quit(self):
        terminal = Terminal(10, 40, "--socket", self.path, TERM="xterm", LC_ALL="C.UTF-8")
        self.assertTrue(terminal.wait_for("q quits"))
        terminal.key("q")
        self.assertEqual(terminal.end(), 0)

    def test_it_ends_with_the_service_when_asked_to(self):
        terminal = Terminal(24, 80, "--until-end", "--socket", self.path, TERM="xterm", LC_ALL="C.UTF-8")
        self.assertTrue(terminal.wait_for("frog"))
        self.stop()
        self.assertEqual(terminal.end(), 0)

    def test_p_silences_and_a_lets_strokes_alternate(self):
        terminal = Terminal(24, 80, "--socket", self.path, TERM="xterm", LC_ALL="C.UTF-8")
        self.assertTrue(terminal.wait_for("frog"))
        terminal.key("p")
        terminal.read_for(0.5)
        self.assertEqual(self.service.panics, 1)
        terminal.key("a")
        terminal.read_for(0.5)
        self.assertEqual(self.service.alternate, [True])
        terminal.key("q")
        self.assertEqual(terminal.end(), 0)

    def test_it_is_one_file_of_the_standard_library(self):
        with open(WATCH, encoding="utf-8") as file:
            text = file.read()
        self.assertLess(text.count("\n"), 500)
        imported = set(re.findall(r"^(?:import|from) (\w+)", text, re.M))
        self.assertLessEqual(imported, set(sys.stdlib_module_names))


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1] + sys.argv[3:])
