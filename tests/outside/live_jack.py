"""On a private JACK server: keyboard -> bowarmd -> synthesiser, note for note; samplers and servers that die, stop and come
back; silence at the end.  The listener is a JACK client that shares nothing with the program, and fluidsynth."""
import os
import re
import shutil
import signal
import subprocess
import sys
import time

from lib_jack_stage import EARS, KEYS, JackStage
from lib_service import Studio, check, is_sanitized, run, wait_for

program, source = sys.argv[1], sys.argv[2]
if not shutil.which("jackd") or not shutil.which("jack_lsp"):
    print("not run here: jackd is absent")
    sys.exit(0)

TUNE = [67, 69, 71, 72, 74, 76, 78, 79, 81, 79, 78, 76, 74, 72, 71, 69]

studio = Studio(source, midi='system = "auto"', connect_in=["piano"], connect_out=["piano", "fluid"])
stage = JackStage(program, studio)
jack, connected, both_connected, new_probe = stage.jack, stage.connected, stage.both_connected, stage.new_probe
state = {"synth": None}


def service():
    return stage.service


def probe():
    return stage.probe


def settle():
    """Until what was played has been heard to its end."""
    time.sleep(0.6)


def plays_through(keys=TUNE):
    probe().clear()
    probe().play(keys)
    settle()
    heard = probe().heard()
    check(heard["ons"] == len(keys), f"{len(keys)} notes played, {heard} heard")
    check(heard["held"] == 0, f"notes hang: {heard}")
    return heard


def hears_what_is_played():
    """A keyboard and a sampler that are there are connected by name; notes heard = notes played, none hangs."""
    jack.start()
    new_probe()
    stage.start_service()
    wait_for(both_connected, "the connections", 15)
    plays_through()
    # The instrument is a violin and the tune in its range: the very keys come out.
    check(probe().notes() == TUNE, f"heard {probe().notes()}")
    status = service().ask()
    print(f"  latest wake so far: {status_number(status, 'latest_wake_ns') / 1e6:.2f} ms late")


def status_number(status, name):
    match = re.search(rf"'{name}': (-?\d+)", str(status))
    return int(match.group(1)) if match else 0


def hears_odd_bytes():
    """Several messages in one event, running status, a clock byte inside: every note is heard and ended."""
    probe().clear()
    # MIDI 1.0: running status; real-time bytes may stand between any two bytes.
    probe().send(0x90, 67, 80, 71, 0xF8, 80)
    time.sleep(0.2)
    probe().send(0x90, 67, 0, 71, 0)
    settle()
    heard = probe().heard()
    check(heard["ons"] == 2 and heard["held"] == 0, f"heard {heard}")


def follows_a_clock():
    """MIDI clock through the port (MIDI 1.0: start, then 24 clocks a quarter note) tells bar and beat; a tap over the socket is taken."""
    probe().send(0xFA)
    for _ in range(30):
        probe().send(0xF8)
        time.sleep(0.02)
    wait_for(lambda: service().ask()["players"][0]["beat_from"] == "clock", "the clock's beat", 5)
    player = service().ask()["players"][0]
    check((player["bar"], int(player["beat"])) == (1, 2), f"after 30 clocks: {player['bar']}:{player['beat']}")
    check(service().ask("tap", {"bar": True}) == {"accepted": True}, "the tap was not taken")
    probe().send(0xFC)
    wait_for(lambda: service().ask()["players"][0]["beat_from"] != "clock", "the stop", 5)


def fluidsynth_notes(log):
    with open(log, encoding="utf-8", errors="replace") as file:
        return len(re.findall(r"event_(?:pre|post)_noteon \d+ \d+ (?!0\b)\d+", file.read()))


def start_synth(log):
    sound = next((p for p in ("/usr/share/sounds/sf3/default-GM.sf3", "/usr/share/sounds/sf2/default-GM.sf2") if os.path.exists(p)), None)
    check(sound, "no sound font")
    with open(log, "wb") as file:
        state["synth"] = subprocess.Popen(["stdbuf", "-oL", "fluidsynth", "-s", "-i", "-a", "jack", "-m", "jack", "-d", "-o", "audio.jack.autoconnect=0", sound],
                                          env=studio.environment, stdin=subprocess.DEVNULL, stdout=file, stderr=file)
    wait_for(lambda: any("fluid" in p.lower() for p in probe().ports()), "fluidsynth's port", 20)


def end_synth():
    if state["synth"] is not None:
        state["synth"].kill()
        state["synth"].wait()
        state["synth"] = None


def plays_fluidsynth():
    """A synthesiser that comes later is connected and hears every note; killed and restarted, it is found again."""
    if not shutil.which("fluidsynth"):
        print("  not run here: fluidsynth is absent")
        return
    for life in (1, 2):
        log = os.path.join(studio.folder, f"synth{life}")
        start_synth(log)
        wait_for(lambda: connected("out", "fluid"), "the connection to fluidsynth", 10)
        time.sleep(0.5)
        before = fluidsynth_notes(log)
        plays_through()
        wait_for(lambda: fluidsynth_notes(log) - before >= len(TUNE), f"{len(TUNE)} notes in fluidsynth (life {life}, now {fluidsynth_notes(log) - before})", 5)
        heard = fluidsynth_notes(log) - before
        # With -d every event is told before and after the router.
        check(heard in (len(TUNE), 2 * len(TUNE)), f"fluidsynth heard {heard} of {len(TUNE)}")
        end_synth()
        wait_for(lambda: not connected("out", "fluid"), "the loss of fluidsynth", 10)
        check(service().process.poll() is None, "the daemon died with its synthesiser")
    plays_through()


def survives_the_server():
    """jackd killed in the middle of held notes: the daemon lives, answers, opens everything again, and plays."""
    for how in (signal.SIGKILL, signal.SIGTERM):
        probe().send(0x90, 67, 80)
        time.sleep(0.2)
        jack.process.send_signal(how)
        jack.process.wait()
        wait_for(lambda: service().ask() and service().state("in") in ("lost", "waiting"), "the loss in the status", 5)
        slowest = 0.0
        for _ in range(10):
            began = time.monotonic()
            service().ask()
            slowest = max(slowest, time.monotonic() - began)
            time.sleep(0.05)
        check(slowest < 0.5, f"an answer took {slowest:.2f} s")
        probe().end()
        jack.start()
        new_probe()
        wait_for(both_connected, "the connections after the restart", 20)
        time.sleep(0.5)
        plays_through()


def survives_a_stop():
    """jackd stopped for five seconds while keys are played: the status answers, says stalled, and afterwards it plays."""
    probe().send(0x90, 67, 80)
    time.sleep(0.2)
    jack.process.send_signal(signal.SIGSTOP)
    try:
        began = time.monotonic()
        slowest, seen = 0.0, set()
        while time.monotonic() - began < 5:
            asked = time.monotonic()
            seen |= {p["state"] for p in service().ports().values()}
            slowest = max(slowest, time.monotonic() - asked)
            time.sleep(0.1)
    finally:
        jack.process.send_signal(signal.SIGCONT)
    check("stalled" in seen, f"states seen: {seen}")
    check(slowest < 0.5, f"an answer took {slowest:.2f} s")
    print(f"  slowest answer while the server stood: {slowest * 1000:.1f} ms")
    # JACK throws out clients that it takes for dead; whoever was thrown out comes back as another client would.
    if probe().process.poll() is not None:
        new_probe()
    probe().send(0x80, 67, 64)
    wait_for(both_connected, "the connections after the stop", 20)
    time.sleep(1.0)
    plays_through()


def costs_nothing_idle():
    """Idle it hardly costs anything: measured over five seconds, bounded loosely."""
    pid = service().process.pid

    def ticks():
        with open(f"/proc/{pid}/stat", encoding="ascii") as file:
            fields = file.read().rsplit(")", 1)[1].split()
        return int(fields[11]) + int(fields[12])

    before, began = ticks(), time.monotonic()
    time.sleep(5)
    share = (ticks() - before) / os.sysconf("SC_CLK_TCK") / (time.monotonic() - began)
    with open(f"/proc/{pid}/status", encoding="ascii") as file:
        text = file.read()
    own, mapped, shared = (int(re.search(rf"{name}:\s+(\d+)", text).group(1)) / 1024 for name in ("RssAnon", "RssFile", "RssShmem"))
    # Where JACK may lock memory, it makes everything of its clients resident.
    print(f"  idle on JACK at a period of 1024 frames: {share * 100:.2f} % of a core; resident {own:.1f} MB of its own, "
          f"{mapped:.1f} of files, {shared:.1f} shared with the server")
    check(share < 0.10, f"{share * 100:.1f} % of a core")
    check(own < 60 or is_sanitized(program), f"{own:.0f} MB of its own")


def leaves_silence():
    """SIGTERM with thirty held keys: the listener counts a note-off for every note-on, exit 0."""
    probe().clear()
    for key in range(55, 85):
        probe().send(0x90, key, 80)
        time.sleep(0.01)
    time.sleep(0.3)
    sounding = probe().heard()
    check(sounding["held"] > 0, f"nothing sounded: {sounding}")
    began = time.monotonic()
    code = service().stop()
    took = time.monotonic() - began
    check(code == 0, f"exit code {code}")
    check(took < 2.5, f"took {took:.1f} s")
    time.sleep(0.2)
    heard = probe().heard()
    check(heard["held"] == 0 and heard["offs"] >= heard["ons"], f"heard {heard}")
    print(f"  {heard['ons']} notes sounded, {sounding['held']} of them at the end; all ended; exit after {took:.2f} s")


def exits_while_the_server_stands():
    """SIGTERM while the server is stopped: exit 0 in less than two and a half seconds, though nothing of JACK answers."""
    stage.start_service()
    wait_for(both_connected, "the connections", 15)
    jack.process.send_signal(signal.SIGSTOP)
    try:
        time.sleep(0.5)
        began = time.monotonic()
        code = service().stop()
        took = time.monotonic() - began
    finally:
        jack.process.send_signal(signal.SIGCONT)
    check(code == 0, f"exit code {code}")
    check(took < 2.6, f"took {took:.1f} s")
    wait_for(lambda: not any("bowarm" in p for p in probe().ports()), "the server to clear the dead ports away", 20)


def exits_without_a_server():
    """SIGTERM just after the server was killed: exit 0 in less than two and a half seconds."""
    stage.start_service()
    wait_for(both_connected, "the connections", 15)
    jack.kill()
    began = time.monotonic()
    code = service().stop()
    took = time.monotonic() - began
    check(code == 0, f"exit code {code}")
    check(took < 2.6, f"took {took:.1f} s")


def lists_ports():
    """`ports` prints names as the configuration matches them and says which entry does; 69 without any MIDI system."""
    environment = dict(studio.environment, XDG_CONFIG_HOME=studio.folder)
    os.makedirs(os.path.join(studio.folder, "bowarm"), exist_ok=True)
    shutil.copy(studio.config, os.path.join(studio.folder, "bowarm", "bowarm.toml"))
    done = subprocess.run([program, "ports"], env=environment, capture_output=True, text=True, timeout=20)
    check(done.returncode == 69, f"without a server: exit code {done.returncode}: {done.stdout}{done.stderr}")
    jack.start()
    new_probe()
    done = subprocess.run([program, "ports"], env=environment, capture_output=True, text=True, timeout=20)
    check(done.returncode == 0, f"exit code {done.returncode}: {done.stderr}")
    check(f'"{KEYS}"   <- input "keys"' in done.stdout, done.stdout)
    check(f'"{EARS}"   <- output "sampler"' in done.stdout, done.stdout)
    check("bowarm" not in done.stdout, "its own ports are listed")


promises = [hears_what_is_played, hears_odd_bytes, follows_a_clock, plays_fluidsynth, survives_the_server, survives_a_stop, costs_nothing_idle, leaves_silence,
            exits_while_the_server_stands, exits_without_a_server, lists_ports]
code = 1
try:
    code = run(promises, lambda: [service()] if service() else [])
finally:
    end_synth()
    stage.end()
sys.exit(code)
