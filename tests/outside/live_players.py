"""Several players in the real program on a private JACK server: five channels get five arms on their channels; reload by signal and by
the socket, refused and taken; a crash behind a reload; a loop made in the patch bay is cut; jackd killed and restarted again and again
under playing, and nothing hangs.  BOWARM_ROUNDS says how often, 5 when it says nothing; 50 was run by hand."""
import os
import re
import shutil
import signal
import subprocess
import sys
import time

from lib_jack_stage import JackStage
from lib_service import Studio, check, run, wait_for

program, source = sys.argv[1], sys.argv[2]
if not shutil.which("jackd") or not shutil.which("jack_connect"):
    print("not run here: jackd is absent")
    sys.exit(0)

ROUNDS = int(os.environ.get("BOWARM_ROUNDS", "5"))
PLAYERS = (("violin 1", "violin", 76), ("violin 2", "violin", 69), ("viola", "viola", 60), ("cello", "cello", 48), ("bass", "double-bass", 36))

studio = Studio(source, midi='system = "auto"', connect_in=["piano"], connect_out=["piano"])
stage = JackStage(program, studio)
jack, both_connected, new_probe = stage.jack, stage.both_connected, stage.new_probe


def write_players(players=PLAYERS, more=""):
    with open(studio.config, encoding="utf-8") as file:
        text = file.read()
    head = text[: re.search(r"^\[+player", text, re.MULTILINE).start()]
    tail = text[text.index("[take]"):]
    tables = "".join(
        f'[[player]]\nname = "{name}"\ninstrument = "{instrument}"\ntarget = "general-midi"\nchannel = {i}\ntarget_channel = {i}\n'
        for i, (name, instrument, _) in enumerate(players, 1))
    with open(studio.config, "w", encoding="utf-8") as file:
        file.write(head + tables + more + tail)


def service():
    return stage.service


def probe():
    return stage.probe


def play_chord(players=PLAYERS, seconds=0.3):
    for i, (_, _, key) in enumerate(players):
        probe().send(0x90 | i, key, 80)
    time.sleep(seconds)
    for i, (_, _, key) in enumerate(players):
        probe().send(0x80 | i, key, 64)


def plays(players=PLAYERS):
    probe().clear()
    play_chord(players)
    time.sleep(0.8)
    heard = probe().heard()
    check(heard["ons"] == len(players), f"{len(players)} notes played, {heard} heard")
    check(heard["held"] == 0, f"notes hang: {heard}")


def five_arms():
    """Five channels reach five players, who play on five channels."""
    jack.start()
    new_probe()
    write_players()
    stage.start_service()
    wait_for(both_connected, "the connections", 15)
    plays()
    players = service().ask()["players"]
    check([p["name"] for p in players] == [name for name, _, _ in PLAYERS], f"players: {[p['name'] for p in players]}")
    check([p["counts"]["notes"] for p in players] == [1] * 5, f"notes: {[p['counts']['notes'] for p in players]}")


def reloads():
    """A configuration at fault is refused with its place, a right one is taken while notes are held, and nothing hangs."""
    write_players(more="[player.nonsense]\n")
    answer = service().ask("reload")
    check(not answer["accepted"] and answer["reasons"] and "nonsense" in answer["reasons"][0], f"refused so: {answer}")
    plays()
    write_players(PLAYERS[:3])
    probe().clear()
    probe().send(0x90, 76, 80)
    time.sleep(0.1)
    check(service().ask("reload") == {"accepted": True, "reasons": [], "restart": []}, "a right configuration was refused")
    wait_for(lambda: len(service().ask()["players"]) == 3, "three players", 5)
    probe().send(0x80, 76, 64)
    time.sleep(0.3)
    check(probe().heard()["held"] == 0, f"notes hang: {probe().heard()}")
    check(both_connected(), "the ports were closed although nothing of them changed")
    plays(PLAYERS[:3])
    write_players()
    service().process.send_signal(signal.SIGHUP)
    wait_for(lambda: len(service().ask()["players"]) == 5, "five players again", 5)
    plays()


def takes_outlive_a_crash():
    """What was played behind a reload is a take after a crash, and its journal says of no note that it came out otherwise."""
    before = studio.takes_named(".mid", ("-played.mid",))
    service().process.send_signal(signal.SIGHUP)
    wait_for(lambda: service().log().count("the configuration has been read again") >= 3, "the third reload", 5)
    plays()
    time.sleep(0.5)
    service().end()
    stage.start_service()
    wait_for(both_connected, "the connections", 15)
    finished = wait_for(lambda: re.search(r"a take that was cut off is finished: (.*)\.mid", service().log()), "the finished take", 10)
    check(finished[1] + ".mid" not in before, "an old take was finished again")
    journal = finished[1] + ".journal"
    again = subprocess.run([program, "recover", journal, "--out", os.path.join(studio.folder, "again.mid")], env=studio.environment,
                           capture_output=True, text=True)
    same = re.search(r"the same as on the day: (\d+) messages compared", again.stdout + again.stderr)
    check(again.returncode == 0 and same and int(same[1]) > 0, f"recover: {again}")
    plays()


def returns_within_a_second():
    """A keyboard that vanishes is said lost; how long until it is heard after it is back is told."""
    stage.end_probe()
    wait_for(lambda: service().state("in") == "lost", "the loss", 5)
    new_probe()
    began = time.monotonic()
    wait_for(both_connected, "the connections", 10)
    took = time.monotonic() - began
    print(f"  connected again after {took:.2f} s")
    plays()


def cuts_a_loop():
    """Our output connected to our input by hand: said, not heard, and heard again when it is undone."""
    ports = subprocess.run(["jack_lsp"], env=studio.environment, capture_output=True, text=True).stdout.split("\n")
    out = next(p for p in ports if "bowarm sampler" in p and ":out" in p)
    into = next(p for p in ports if "bowarm keys" in p and ":in" in p)
    subprocess.run(["jack_connect", out, into], env=studio.environment, check=True)
    wait_for(lambda: service().state("in") == "cut", "the cut", 5)
    check(service().ports()["in"]["note"], "the cut is not explained")
    subprocess.run(["jack_disconnect", out, into], env=studio.environment, check=True)
    wait_for(lambda: service().state("in") == "open", "the end of the cut", 5)
    time.sleep(3.2)
    plays()


def survives_many_deaths():
    """jackd killed and restarted under playing: what was held when it died does not sound afterwards, and the notes that follow arrive."""
    for round_number in range(ROUNDS):
        play_chord(seconds=0.05)
        for i, (_, _, key) in enumerate(PLAYERS):
            probe().send(0x90 | i, key, 80)
        time.sleep(0.1)
        jack.process.send_signal(signal.SIGKILL if round_number % 2 == 0 else signal.SIGTERM)
        jack.process.wait()
        wait_for(lambda: service().state("in") in ("lost", "waiting"), f"the loss in round {round_number}", 5)
        stage.end_probe()
        jack.start()
        new_probe()
        wait_for(both_connected, f"the connections in round {round_number}", 20)
        time.sleep(0.5)
        plays()


def ends_silent():
    """SIGTERM ends with 0."""
    play_chord(seconds=0.1)
    check(service().stop() == 0, "the service did not end with 0")


promises = [five_arms, reloads, takes_outlive_a_crash, returns_within_a_second, cuts_a_loop, survives_many_deaths, ends_silent]
code = 1
try:
    code = run(promises, lambda: [service()] if service() else [])
finally:
    stage.end()
sys.exit(code)
