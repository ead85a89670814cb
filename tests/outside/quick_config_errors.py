#!/usr/bin/env python3
"""Proves: whatever is wrong with the command line or a configuration, bowarmd says so in clear lines with places
and ends with the fitting code of sysexits.h (64 usage, 66 no such file, 78 configuration); no bad file takes it down.

usage: quick_config_errors.py BINARY SOURCE_DIR
"""
import os
import re
import subprocess
import sys
import tempfile
import time

BINARY, SOURCE = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
CONFIG = os.path.join(SOURCE, "config")
TARGETS = "channel-per-technique, controller-ranges, general-midi, held-keyswitches, keyswitch-demo, physical-model, program-changes, stand-in"
failures = []


def run(*arguments, folder=None, **environment):
    env = {key: value for key, value in os.environ.items() if key not in ("BOWARM_DATA", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_DATA_DIRS")}
    env.update(environment)
    done = subprocess.run([BINARY, *arguments], capture_output=True, text=True, timeout=30, env=env, cwd=folder)
    return done.returncode, done.stdout, done.stderr


def expect(why, got, code, *patterns, lines=None):
    returned, out, err = got
    text = err if code else out
    if returned != code:
        failures.append(f"{why}: exit {returned} instead of {code}: {text}")
    for pattern in patterns:
        if not re.search(pattern, text, re.M):
            failures.append(f"{why}: no /{pattern}/ in: {text}")
    if lines is not None and len(text.splitlines()) != lines:
        failures.append(f"{why}: {len(text.splitlines())} lines instead of {lines}: {text}")
    if code and out:
        failures.append(f"{why}: stdout must be empty: {out}")


def usage():
    expect("no command", run(), 64, "no command given", lines=1)
    expect("unknown command", run("chek"), 64, "no command 'chek'; did you mean 'check'", lines=1)
    expect("far from any command", run("concertmaster"), 64, "known: run, replay, setup, soundcheck, takes, recover, ports, check", lines=1)
    expect("unknown option", run("check", "--confg", "x"), 64, "no option --confg; did you mean --config", lines=1)
    expect("value missing", run("check", "--config"), 64, "--config needs a FILE", lines=1)
    expect("operand too many", run("check", "x"), 64, "what is 'x' for", lines=1)
    expect("replay without a file", run("replay", "--out", "x.mid"), 64, "no IN given", lines=1)
    expect("replay without --out", run("replay", "x.mid"), 64, "--out is needed", lines=1)
    expect("--stay without --play", run("run", "--stay"), 64, "--stay is of use only with --play", lines=1)
    expect("ports of a configuration that is not there", run("ports", "--config", "/nowhere/b.toml"), 66, "^/nowhere/b.toml: no such file; ", lines=1)
    if "configuration" in run("ports", BOWARM_DATA="/nowhere", XDG_CONFIG_HOME="/nowhere/c")[2]:
        failures.append("ports: a word about a configuration that nobody has made yet")
    expect("an escape in a word", run("\x1b[31mx"), 64, r"no command '\?\[31mx'", lines=1)


def helps():
    code, out, _ = run("--help")
    commands = re.findall(r"^  ([a-z]+) ", out, re.M)
    if code or commands != ["run", "replay", "setup", "soundcheck", "takes", "recover", "ports", "check"]:
        failures.append(f"--help: {code}, {commands}")
    for command in commands:
        expect(f"{command} --help", run(command, "--help"), 0, f"usage: bowarmd {command}")
    with open(os.path.join(SOURCE, "CMakeLists.txt"), encoding="utf-8") as file:
        version = re.search(r"project\(bowarm VERSION ([0-9.]+)", file.read()).group(1)
    expect("--version", run("--version"), 0, rf"^bowarmd {re.escape(version)}, build \S+$", lines=1)


def shipped():
    own = os.path.join(CONFIG, "bowarm.toml")
    for instrument in ("violin", "viola", "cello", "double-bass"):
        for target in TARGETS.split(", "):
            expect(f"{instrument}, {target}", run("check", "--config", own, "--instrument", instrument, "--target", target), 0,
                   f"^instrument +{instrument}, .*instruments/{instrument}.toml$", f"^target +{target}, .*targets/{target}.toml$", "^no problem$")
    expect("packaged default", run("check", BOWARM_DATA=CONFIG, XDG_CONFIG_HOME="/nowhere"), 0, f"^configuration +{re.escape(own)}$")
    expect("named from its own folder", run("check", "--config", "bowarm.toml", folder=CONFIG), 0, "^configuration +bowarm.toml$", "^target .* targets/general-midi.toml$")
    path = os.path.join(CONFIG, "instruments", "cello.toml")
    expect("an instrument by its path", run("check", "--config", own, "--instrument", path), 0, "^instrument +cello")


def bad_files(folder):
    own = os.path.join(CONFIG, "bowarm.toml")

    def written(text, name="bowarm.toml"):
        path = os.path.join(folder, name)
        with open(path, "wb") as file:
            file.write(text if isinstance(text, bytes) else text.encode())
        return path

    def check(text):
        return run("check", "--config", written(text), BOWARM_DATA=CONFIG)

    expect("no such file", run("check", "--config", "/nowhere/b.toml"), 66, "^/nowhere/b.toml: no such file; ", lines=1)
    expect("run says the same", run("run", "--config", "/nowhere/b.toml"), 66, "^/nowhere/b.toml: no such file; ", lines=1)
    expect("an empty name", run("check", "--config", ""), 64, "--config needs a FILE, not an empty text", lines=1)
    expect("no configuration anywhere", run("check", BOWARM_DATA="/nowhere", XDG_CONFIG_HOME="/nowhere/c"), 66, "^/nowhere/c/bowarm/bowarm.toml: no configuration yet; copy config/ to /nowhere/c/bowarm, or give --config FILE$", lines=1)
    expect("a folder", run("check", "--config", folder), 78, "not an ordinary file", lines=1)
    expect("not TOML", check("version = 1\n[player\n"), 78, r"bowarm\.toml:2:\d+: not TOML: .*`\[player`", lines=1)
    expect("a later version", check("version = 2\n"), 78, r"bowarm\.toml:1:11: version: made for a later bowarmd.*this one knows version 1", lines=1)
    expect("unknown key", check("version = 1\n[player]\nlift_after = 1\n"), 78, r"bowarm\.toml:3:14: player\.lift_after: no such key, in `lift_after = 1`; did you mean 'lift_after_s'\?", lines=1)
    expect("three at once", check("version = 1\n[player]\nsoften = 3\nname = 4\n[log]\nlevel = 5\n"), 78, ":3:10: ", ":4:8: ", ":6:9: ", lines=3)
    expect("nan", check("version = 1\n[time]\ntempo = nan\n"), 78, ":3:9: time.tempo: must be a number from 10 to 400", lines=1)
    expect("unknown instrument", check('version = 1\n[player]\ninstrument = "harp"\n'), 78, ":3:14: .*no instrument named 'harp'.*known: cello, double-bass, viola, violin", lines=1)
    expect("unknown target", check('version = 1\n[player]\ntarget = "organ"\n'), 78, ":3:10: .*no target named 'organ'.*known: " + TARGETS, lines=1)
    expect("--instrument unknown", run("check", "--config", own, "--instrument", "harp"), 78, "^--instrument: no instrument named 'harp'; known: cello, double-bass, viola, violin$", lines=1)
    expect("--target unknown", run("check", "--config", own, "--target", "organ"), 78, "^--target: no target named 'organ'; known: " + TARGETS + "$", lines=1)
    expect("--instrument missing file", run("check", "--config", own, "--instrument", "/nowhere/harp.toml"), 66, "^/nowhere/harp.toml: no such file", lines=1)

    # toml-lang/toml-test, invalid/table/duplicate-key-10: kills the TOML library by SIGSEGV.
    expect("a file that kills the reader", check("a = []\n[[a.b]]\n"), 78, "bowarm.toml: the TOML reader cannot take this file; ", lines=1)
    expect("bad UTF-8 in a literal", check(b"name = '\xff'\n"), 78, ":1:9: not UTF-8", lines=1)
    expect("NUL", check(b"version = 1\n\0"), 78, ":2:1: a NUL byte", lines=1)
    for why, text in (("deep", "a = " + "[" * 20000), ("many parts", "a" + ".a" * 20000 + " = 1\n"), ("large", "#" * 300000)):
        begun = time.monotonic()
        expect(why, check(text), 78, "16|256 KiB", lines=1)
        if time.monotonic() - begun > 5:
            failures.append(f"{why}: took {time.monotonic() - begun:.1f} s")
    pipe = os.path.join(folder, "pipe.toml")
    os.mkfifo(pipe)
    expect("a pipe without a writer", run("check", "--config", pipe), 78, "not an ordinary file", lines=1)


usage()
helps()
shipped()
with tempfile.TemporaryDirectory() as temporary:
    bad_files(temporary)
for failure in failures:
    print("FAILED", failure)
print("fine" if not failures else f"{len(failures)} failed")
sys.exit(1 if failures else 0)
