"""Instructions of single events, counted by valgrind's callgrind; the same in every run of one build."""
import pathlib
import re
import shutil
import subprocess
import tempfile

FRAME = "bowarm::test::one_event*"


def has_valgrind():
    return shutil.which("valgrind") is not None


def words(program, *arguments):
    return subprocess.run([program, *arguments], check=True, capture_output=True, text=True).stdout.split()


def of_each_event(program, workload):
    """Instructions of every event of a workload, in order: callgrind writes its counters down, and clears them, behind each."""
    with tempfile.TemporaryDirectory() as folder:
        out = pathlib.Path(folder, "counts")
        subprocess.run(["valgrind", "--tool=callgrind", "--combine-dumps=yes", f"--callgrind-out-file={out}", f"--dump-after={FRAME}",
                        f"--zero-before={FRAME}", program, "play", workload], check=True, capture_output=True)
        with open(out, encoding="utf-8", errors="replace") as file:
            counts = [int(m.group(1)) for m in (re.match(r"totals: (\d+)", line) for line in file) if m]
        # The first has the program's own start in it, the last what comes behind the last event.
        return [counts[1], *counts[1:-1]]


def of_workload(program, workload):
    """Instructions of all events together, and how many events there are."""
    said = subprocess.run(["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null", f"--toggle-collect={FRAME}", program, "play",
                           workload], check=True, capture_output=True, text=True)
    return int(re.search(r"Collected : (\d+)", said.stderr).group(1)), int(said.stdout.split()[0])
