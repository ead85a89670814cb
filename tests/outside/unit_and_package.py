"""What is installed works where it lies: data found beside the program wherever that was moved, a unit that systemd takes, completion,
man pages, and a Debian package without errors that is the same bytes twice.  Judges from outside: systemd-analyze, bash, man, lintian;
each is left out, and named, where it is missing."""

import glob
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from lib_service import check, run

PROGRAM, SOURCE = sys.argv[1:3]
BUILD = os.path.dirname(os.path.abspath(PROGRAM))
folder = tempfile.TemporaryDirectory()
PREFIX = os.path.join(folder.name, "prefix")


def call(*words, **environment):
    full = dict(os.environ, **environment)
    full.pop("BOWARM_DATA", None)
    return subprocess.run(words, capture_output=True, text=True, env=full, timeout=300)


def has(program):
    if shutil.which(program):
        return True
    print(f"left out: no {program}")
    return False


def relocation():
    """The program finds its data beside itself, also after its folder was moved."""
    done = call("cmake", "--install", BUILD, "--prefix", PREFIX + "-before")
    check(done.returncode == 0, done.stderr)
    os.rename(PREFIX + "-before", PREFIX)
    done = call(f"{PREFIX}/bin/bowarmd", "check", XDG_CONFIG_HOME="/nowhere")
    check(done.returncode == 0 and f"{PREFIX}/share/bowarm/targets/general-midi.toml" in done.stdout, done.stdout + done.stderr)


def unit():
    """systemd takes the unit as it is installed."""
    if not has("systemd-analyze") or not has("man"):
        return
    done = call("cmake", "--install", BUILD, "--prefix", PREFIX)
    check(done.returncode == 0, done.stderr)
    os.makedirs(f"{folder.name}/runtime", mode=0o700)
    done = call("systemd-analyze", "--user", "verify", f"{PREFIX}/lib/systemd/user/bowarmd.service", XDG_RUNTIME_DIR=f"{folder.name}/runtime",
                MANPATH=f"{PREFIX}/share/man")
    check(done.returncode == 0 and not done.stderr, done.stderr)


def completion():
    """Completion knows every command and option that --help knows."""
    script = """
        source "$1"
        COMP_WORDS=(bowarmd ""); COMP_CWORD=1; _bowarmd; echo "${COMPREPLY[*]}"
        COMP_WORDS=(bowarmd run --); COMP_CWORD=2; _bowarmd; echo "${COMPREPLY[*]}"
    """
    done = call("bash", "-c", script, "bash", f"{PREFIX}/share/bash-completion/completions/bowarmd", PATH=f"{PREFIX}/bin:{os.environ['PATH']}")
    commands, options = done.stdout.splitlines()
    check({"run", "replay", "setup", "soundcheck", "ports", "check"} <= set(commands.split()), commands)
    check({"--config", "--as-root", "--play", "--help"} <= set(options.split()), options)


def man_pages():
    """The man pages are without warnings."""
    if not has("man"):
        return
    for page in glob.glob(f"{PREFIX}/share/man/man1/*.gz"):
        done = call("man", "--warnings", "-l", "-P", "cat", page, LC_ALL="C.UTF-8", MANWIDTH="80")
        check(done.returncode == 0 and not done.stderr, f"{page}: {done.stderr}")


def package():
    """cpack makes a package without errors, and the same bytes again."""
    if not has("dpkg-shlibdeps") or not has("lintian"):
        return
    hashes = set()
    for turn in "ab":
        made = os.path.join(folder.name, turn)
        done = call("cpack", "-G", "DEB", "-B", made, "--config", f"{BUILD}/CPackConfig.cmake", SOURCE_DATE_EPOCH="1764028800")
        check(done.returncode == 0, done.stdout + done.stderr)
        (deb,) = glob.glob(f"{made}/*.deb")
        with open(deb, "rb") as file:
            hashes.add(hashlib.sha256(file.read()).hexdigest())
    check(len(hashes) == 1, "two packages of one build differ")
    done = call("lintian", deb)
    wrong = [line for line in done.stdout.splitlines() if line[:2] in ("E:", "W:")]
    check(not wrong, "\n".join(wrong))


code = run([relocation, unit, completion, man_pages, package])
folder.cleanup()
sys.exit(code)
