"""On a private JACK server: `bowarmd setup` hears a keyboard and writes what was shown; `bowarmd soundcheck` plays to the stand-in
sampler, and Ctrl-C leaves silence; the stand-in plays live what a keyboard sends through the service.

    live_setup.py BINARY SOURCE_DIR
"""
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import tomllib

from lib_service import Failed, Jack, Probe, Service, Studio, check, run, wait_for

program, source = sys.argv[1], sys.argv[2]
if not shutil.which("jackd") or not shutil.which("jack_lsp"):
    print("not run here: jackd is absent")
    sys.exit(0)
stand_in = os.path.join(os.path.dirname(os.path.abspath(program)), "bowarm-stand-in")

jack = Jack()
studio = Studio(source, midi='system = "auto"', connect_in=["piano"], connect_out=["piano", "stand-in"],
                extra='# mine: before\n[controls]\nloudness = "cc 11" # the old pedal\n# mine: after\n')
state = {"children": []}


class Child:
    """A program with its answers typed from here."""

    def __init__(self, *words):
        self.path = os.path.join(studio.folder, f"child-{len(state['children'])}")
        self.file = open(self.path, "wb")
        self.process = subprocess.Popen(words, env=studio.environment, stdin=subprocess.PIPE, stdout=self.file, stderr=subprocess.STDOUT)
        state["children"].append(self)

    def said(self):
        with open(self.path, encoding="utf-8") as file:
            return file.read()

    def waits_for(self, words, seconds=15):
        wait_for(lambda: words in self.said() or self.process.poll() is not None, words, seconds)
        check(words in self.said(), f"ended without '{words}':\n{self.said()}")

    def type(self, line=""):
        self.process.stdin.write((line + "\n").encode())
        self.process.stdin.flush()

    def ends(self, code=0, seconds=15):
        check(self.process.wait(seconds) == code, f"exit code {self.process.returncode}, not {code}:\n{self.said()}")

    def end(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()


def new_probe():
    if state.get("probe"):
        state["probe"].end()
    state["probe"] = Probe(program, studio.environment)
    return state["probe"]


def connected_to(words):
    return any(words in line for line in subprocess.run(["jack_lsp", "-c"], env=studio.environment, capture_output=True, text=True,
                                                        timeout=10).stdout.splitlines())


def begin_setup():
    talk = Child(program, "setup", "--config", studio.config)
    talk.waits_for("What shall be set up?")
    wait_for(lambda: connected_to("bowarm setup"), "setup to be connected")
    time.sleep(0.3)
    return talk


def sweep(probe, number, values):
    for value in values:
        probe.send(0xB0, number, value)
        time.sleep(0.005)


def kept(talk, words):
    """Played messages are given time to arrive before Enter is."""
    time.sleep(0.3)
    talk.type()
    talk.waits_for(words)


def setup_writes_what_was_shown():
    """setup hears the pedal's ends, a key and the sustain pedal, and writes them; comments and the other sections stay."""
    jack.start()
    probe = new_probe()
    with open(studio.config, encoding="utf-8") as file:
        before = file.read()
    talk = begin_setup()
    talk.type()
    talk.waits_for("LOUDNESS")
    sweep(probe, 2, range(100, 4, -5))
    sweep(probe, 2, range(5, 121, 5))
    kept(talk, "cc 2, from 5 to 120")
    talk.waits_for("CONTACT POINT")
    talk.type("s")
    talk.waits_for("SUSTAIN")
    sweep(probe, 64, (127, 0))
    kept(talk, "cc 64")
    talk.waits_for('KEY for "technique detache"')
    probe.play([24])
    kept(talk, "C1")
    talk.waits_for('KEY for "technique legato"')
    talk.type("done")
    talk.waits_for("Save it")
    talk.type()
    talk.ends()
    with open(studio.config, encoding="utf-8") as file:
        after = file.read()
    controls = tomllib.loads(after)["controls"]
    check(controls["loudness"] == "cc 2" and controls["loudness_from"] == 5 and controls["loudness_to"] == 120, controls)
    check(controls["sustain"] == "same bow", controls)
    check(controls["key"] == [{"key": "C1", "does": "technique detache"}], controls)
    for line in before.splitlines():
        check(line in after or line.startswith("loudness ="), f"lost: {line}")
    check('loudness = "cc 2" # the old pedal' in after, "the comment beside the value is gone")
    check(subprocess.run([program, "check", "--config", studio.config], env=studio.environment, capture_output=True).returncode == 0, "check")


def setup_learns_keyswitches():
    """setup k sends the keyboard on to the sampler, and writes the keys that were shown into a target file of the person's own."""
    probe = new_probe()
    talk = begin_setup()
    talk.type("k")
    talk.waits_for("Mind your ears")
    talk.waits_for("A NAME")
    talk.type("mine")
    talk.waits_for("KEYSWITCH of detache")
    wait_for(lambda: connected_to("piano:ears"), "the sampler to be connected")
    probe.clear()
    probe.play([0, 1])
    kept(talk, "down-bow C-1, up-bow C#-1")
    check(probe.heard()["ons"] == 2 and probe.heard()["held"] == 0, f"the sampler heard {probe.heard()}")
    talk.waits_for("KEYSWITCH of legato")
    talk.type("done")
    talk.waits_for("Save it")
    talk.type()
    talk.ends()
    path = os.path.join(studio.folder, "targets", "mine.toml")
    with open(path, "rb") as file:
        target = tomllib.load(file)
    check(target["name"] == "mine" and target["technique"]["detache"]["up"] == {"keyswitch": "C#-1"}, target["technique"]["detache"])
    done = subprocess.run([program, "check", "--config", studio.config, "--target", "mine"], env=studio.environment, capture_output=True, text=True)
    check(done.returncode == 0, done.stderr)


def setup_needs_answers():
    """Without anybody who answers setup says so, saves nothing and ends with 64; Ctrl-C and q leave without a change."""
    with open(studio.config, "rb") as file:
        before = file.read()
    done = subprocess.run([program, "setup", "--config", studio.config], env=studio.environment, stdin=subprocess.DEVNULL, capture_output=True,
                          text=True, timeout=20)
    check(done.returncode == 64 and done.stderr.count("\n") == 1, f"{done.returncode}: {done.stderr}")
    for leave in (lambda talk: talk.type("q"), lambda talk: talk.process.send_signal(signal.SIGINT)):
        talk = begin_setup()
        leave(talk)
        talk.ends()
        check("nothing was saved" in talk.said(), talk.said())
    with open(studio.config, "rb") as file:
        check(file.read() == before, "the configuration was changed")


def soundcheck_is_heard():
    """soundcheck plays each phrase to whoever listens, says which, and after Ctrl-C nothing sounds."""
    probe = new_probe()
    talk = Child(program, "soundcheck", "--config", studio.config, "--target", "stand-in", "--technique", "staccato")
    talk.ends(seconds=30)
    check(re.findall(r"staccato +arm (\w+)", talk.said()) == ["off", "on"], talk.said())
    heard = probe.heard()
    check(heard["ons"] >= 12 and heard["held"] == 0, heard)
    probe = new_probe()
    talk = Child(program, "soundcheck", "--config", studio.config, "--target", "stand-in")
    talk.waits_for("detache              arm on")
    wait_for(lambda: probe.heard()["held"] > 0, "a note that sounds")
    talk.process.send_signal(signal.SIGINT)
    talk.ends()
    time.sleep(0.3)
    check(probe.heard()["held"] == 0, f"left sounding: {probe.heard()}")


def stand_in_plays_live():
    """keyboard -> bowarmd -> bowarm-stand-in: the port is found by its name and what is played arrives."""
    probe = new_probe()
    sampler = Child(stand_in, "--alone")
    sampler.waits_for("Mind your ears", 60)
    sampler.waits_for("ready: stand-in:in", 90)
    service = Service(program, studio, "--target", "stand-in")
    state["service"] = service
    try:
        wait_for(lambda: connected_to("stand-in:in") and any("stand-in" in n for n in service.ports().get("out", {}).get("connected", [])),
                 "the connection to the stand-in", 20)
        probe.play([67, 69, 71], length=0.3)
        time.sleep(0.5)
        check(sampler.process.poll() is None, sampler.said())
    finally:
        service.stop()
        service.end()
    sampler.process.send_signal(signal.SIGINT)
    sampler.ends()
    loudest = int(re.search(r"loudest: (\d+) %", sampler.said())[1])
    # It begins at a quarter of its loudness.
    check(1 <= loudest <= 30, f"its loudest moment: {loudest} %")


def setup_over_the_socket_hears_the_keyboard():
    """Over the status socket of the running service, setup hears the keyboard that plays it, and writes what it showed."""
    probe = new_probe()
    service = state["service"] = Service(program, studio)
    wait_for(lambda: service.state("in") == "open" and connected_to("bowarm"), "the service's ports")
    asked = lambda: wait_for(lambda: (s := service.ask("setup_state"))["waiting"] and s, "a question")
    service.ask("setup_start", {"part": "controls"})
    asked()
    sweep(probe, 3, range(10, 111, 5))
    wait_for(lambda: service.ask("setup_state")["heard"] == "  cc 3, from 10 to 110", "the pedal")
    for line, words in (("", "CONTACT POINT"), ("done", "Save it"), ("", "saved in")):
        asked()
        check(service.ask("setup_answer", {"answer": line}) == {"accepted": True}, "setup_answer")
        wait_for(lambda words=words: words in "\n".join(service.ask("setup_state")["said"]), words)
    with open(studio.config, encoding="utf-8") as file:
        controls = tomllib.loads(file.read())["controls"]
    check(controls["loudness"] == "cc 3" and controls["loudness_from"] == 10 and controls["loudness_to"] == 110, controls)
    check(service.ask("reload")["accepted"], "the reload")
    check(service.stop() == 0, "exit code")


def no_server_is_said():
    """Without a MIDI system setup and soundcheck end with 69 and one line; so does the stand-in."""
    state["probe"].end()
    jack.end()
    with open(studio.config, encoding="utf-8") as file:
        text = file.read()
    with open(studio.config, "w", encoding="utf-8") as file:
        file.write(text.replace('system = "auto"', 'system = "jack"'))
    for words in ((program, "setup", "--config", studio.config), (program, "soundcheck", "--config", studio.config), (stand_in, "--alone")):
        done = subprocess.run(words, env=studio.environment, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=90)
        check(done.returncode == 69 and len(done.stderr.splitlines()) == 1, f"{words}: {done.returncode} {done.stderr}")


class Log:
    """What the children said, for a promise that was broken."""

    @staticmethod
    def log():
        return "\n".join(child.said() for child in state["children"][-2:])


try:
    code = run([setup_writes_what_was_shown, setup_learns_keyswitches, setup_needs_answers, soundcheck_is_heard, stand_in_plays_live,
                setup_over_the_socket_hears_the_keyboard, no_server_is_said], lambda: [Log])
finally:
    for child in state["children"]:
        child.end()
    if state.get("service"):
        state["service"].end()
    if state.get("probe"):
        state["probe"].end()
    if not jack.lock.closed:
        jack.end()
    studio.remove()
sys.exit(code)
