"""How late a note is: keyboard -> bowarmd -> listener beside keyboard -> the plainest RtMidi pass-through -> listener, in one run on
one JACK server, in interleaved rounds; and key to sound through the stand-in sampler.

    latency.py BUILD_FOLDER SOURCE [--rounds 5] [--notes 2000] [--sounds 100] [--periods 16,64,128] [--real-time]

Prints a table.  Times are counted in frames by the probe; `periods` is the median over the period."""
import argparse
import os
import signal
import statistics
import subprocess
import sys
import threading
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "outside"))
from lib_service import SERVER, Jack, Service, Studio, wait_for  # noqa: E402

RATE = 48000
NAMES = ("round", "sent", "lost", "median", "mean", "nine_in_ten", "most", "late_cycles")


class RealTimeJack(Jack):
    def start(self):
        self.process = subprocess.Popen(["jackd", "-n", SERVER, "-R", "-P", "60", "-d", "dummy", "-r", str(RATE), "-p", str(self.period)],
                                        env=self.environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        wait_for(self.answers, "the private JACK server")


def subscribe(studio, ends):
    """A status client that takes a hundred snapshots a second, and reads them."""
    import json
    import socket
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as s:
        s.connect(studio.socket)
        s.sendall((json.dumps({"jsonrpc": "2.0", "id": 1, "method": "subscribe", "params": {"rate": 100}}) + "\n").encode())
        s.settimeout(0.5)
        while not ends.is_set():
            try:
                if not s.recv(1 << 16):
                    return
            except TimeoutError:
                pass


def measured(tests, environment, rounds, notes, milliseconds, ways):
    lines = subprocess.run([os.path.join(tests, "latency_probe"), str(rounds), str(notes), str(milliseconds)] + ways, env=environment,
                           check=True, stdout=subprocess.PIPE, text=True,
                           timeout=60 + rounds * notes * milliseconds * len(ways) / 250).stdout.splitlines()
    by_way = {}
    for line in lines:
        way, *numbers = line.split()
        by_way.setdefault(way, []).append(dict(zip(NAMES, map(float, numbers))))
    return by_way


def rows(period, by_way):
    for way, results in by_way.items():
        median = statistics.median(r["median"] for r in results)
        yield (f"| {period} | {way} | {median / RATE * 1e3:.2f} ms | {median / period:.2f} | "
               f"{statistics.median(r['nine_in_ten'] for r in results) / RATE * 1e3:.2f} ms | {max(r['most'] for r in results) / RATE * 1e3:.2f} ms | "
               f"{sum(r['lost'] for r in results):.0f} of {sum(r['sent'] for r in results):.0f} | {sum(r['late_cycles'] for r in results):.0f} |")


def one_period(options, period):
    tests = os.path.join(options.build, "tests", "latency")
    jack = (RealTimeJack if options.real_time else Jack)(period)
    studio = Studio(options.source, midi='system = "jack"', connect_out=["stand-in:in"])
    children, service, ends = [], None, threading.Event()
    try:
        jack.start()
        for command in (["pass_through", "wire"],):
            child = subprocess.Popen([os.path.join(tests, command[0])] + command[1:], env=studio.environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
            children.append(child)
            child.stdout.readline()
        stand_in = os.path.join(options.build, "bowarm-stand-in")
        children.append(subprocess.Popen([stand_in], env=studio.environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL))
        ports = lambda: subprocess.run(["jack_lsp"], env=studio.environment, capture_output=True, text=True).stdout
        # Nobody looks while a client opens: JACK 1.9.21 with real-time priority may then leave it without its first cycle, for ever.
        time.sleep(options.settle)
        if "stand-in:in" not in ports():
            raise SystemExit("the stand-in is not there yet; give it more time by --settle")
        service = Service(os.path.join(options.build, os.environ.get("BOWARMD", "bowarmd")), studio)
        wait_for(service.answers, "bowarmd", 20)
        time.sleep(3)
        names = ports().splitlines()
        find = lambda part: next(n for n in names if part in n)
        reader = threading.Thread(target=subscribe, args=(studio, ends))
        reader.start()
        ways = [f"pass-through={find('wire:in')},{find('wire-out')}", f"bowarmd={find('keys')},{find('sampler')}"]
        yield from rows(period, measured(tests, studio.environment, options.rounds, options.notes, options.milliseconds, ways))
        if options.sounds:
            sound = [f"key-to-sound={find('keys')},stand-in:left"]
            yield from rows(period, measured(tests, studio.environment, 1, options.sounds, 1200, sound))
        ends.set()
        reader.join()
    finally:
        ends.set()
        if service:
            service.stop()
            service.end()
        for child in children:
            child.kill()
            child.wait()
        jack.end()
        studio.remove()


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("build")
    a.add_argument("source")
    a.add_argument("--rounds", type=int, default=5)
    a.add_argument("--notes", type=int, default=2000)
    a.add_argument("--milliseconds", type=float, default=10, help="from note to note")
    a.add_argument("--sounds", type=int, default=100)
    a.add_argument("--periods", default="16,64,128")
    a.add_argument("--settle", type=float, default=20, help="seconds for the stand-in to compute its sounds")
    a.add_argument("--real-time", action="store_true", help="ask JACK for real-time priority")
    options = a.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    print("| period | way | median | periods | nine in ten | most | lost | late cycles |\n|---|---|---|---|---|---|---|---|")
    for period in map(int, options.periods.split(",")):
        for row in one_period(options, period):
            print(row, flush=True)


if __name__ == "__main__":
    main()
