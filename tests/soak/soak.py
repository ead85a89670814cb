"""Hours of a studio in minutes of nobody looking: random playing through a real JACK server that is killed and started again, status
clients that join, read fast, slowly or not at all, and leave.

    soak.py BOWARMD SOURCE [--minutes 120] [--restart-every 4] [--clients 50] [--seed N]

Said at the end, and wrong where it is not so: every separate note was heard, no note hangs after any phrase, the service counts no
lost input, and its own memory does not grow over the last two thirds (a line through its samples, within twice its standard error)."""
import argparse
import json
import os
import random
import selectors
import socket
import statistics
import sys
import threading
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "outside"))
from lib_service import Failed, Jack, Probe, Service, Studio, check, wait_for  # noqa: E402

LOWEST, HIGHEST = 57, 93  # on a violin every key is its own note


class Clients(threading.Thread):
    """Status clients that come and go."""

    def __init__(self, path, count, seed):
        super().__init__(daemon=True)
        self.path, self.count, self.dice = path, count, random.Random(seed)
        self.ends, self.joined, self.read, self.refused = threading.Event(), 0, 0, 0

    def join_one(self, selector):
        s = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            s.connect(self.path)
            wish = {"rate": self.dice.choice([1, 20, 100])}
            if self.dice.random() < 0.5:
                wish["events"] = ["note", "stroke"]
            s.sendall((json.dumps({"jsonrpc": "2.0", "id": 1, "method": "subscribe", "params": wish}) + "\n").encode())
        except OSError:
            s.close()
            self.refused += 1
            return
        s.setblocking(False)
        reads = self.dice.random() < 0.8
        selector.register(s, selectors.EVENT_READ if reads else selectors.EVENT_WRITE)
        self.joined += 1

    def leave(self, selector, s):
        selector.unregister(s)
        s.close()

    def run(self):
        with selectors.DefaultSelector() as selector:
            while not self.ends.is_set():
                open_now = [key.fileobj for key in selector.get_map().values()]
                if len(open_now) < self.count and self.dice.random() < 0.5:
                    self.join_one(selector)
                elif open_now and self.dice.random() < 0.05:
                    self.leave(selector, self.dice.choice(open_now))
                for key, events in selector.select(0.02):
                    if not events & selectors.EVENT_READ:
                        continue
                    try:
                        part = key.fileobj.recv(1 << 16)
                    except OSError:
                        part = b""
                    self.read += len(part)
                    if not part:
                        self.leave(selector, key.fileobj)
                time.sleep(0.02)  # the silent ones are always ready to be written to
            for key in list(selector.get_map().values()):
                self.leave(selector, key.fileobj)


def own_memory_kb(pid):
    with open(f"/proc/{pid}/smaps_rollup", encoding="ascii") as file:
        return sum(int(line.split()[1]) for line in file if line.startswith(("Private_Dirty", "Private_Clean")))


class Soak:
    def __init__(self, options):
        self.options, self.dice = options, random.Random(options.seed)
        self.studio = Studio(options.source, midi='system = "jack"', connect_in=["piano"], connect_out=["piano"], extra="")
        with open(self.studio.config, encoding="utf-8") as file:
            text = file.read()
        with open(self.studio.config, "w", encoding="utf-8") as file:
            # A take is in memory until it ends: it ends in most of the pauses, so that what grows is not the take.
            file.write(text.replace("[take]\n", "[take]\nkeep_at_most = 20\nsilence_s = 1\n"))
        self.jack, self.probe, self.service = Jack(), None, None
        self.sent = self.heard = self.hanging = self.phrases = self.restarts = 0
        self.memory = []

    def begin(self):
        self.jack.start()
        self.probe = Probe(self.options.program, self.studio.environment)
        self.service = Service(self.options.program, self.studio)
        self.connected()

    def connected(self):
        ports = lambda role: self.service.ports().get(role, {}).get("connected", [])
        wait_for(lambda: any("piano" in p for p in ports("in")) and any("piano" in p for p in ports("out")), "the connections", 40)
        time.sleep(0.5)

    def separate_notes(self):
        """Each is heard once."""
        self.probe.clear()
        count = self.dice.randint(4, 30)
        keys = self.dice.sample(range(LOWEST, HIGHEST), count)
        for key in keys:
            self.probe.send(0x90, key, self.dice.randint(20, 120))
            time.sleep(self.dice.uniform(0.02, 0.25))
            self.probe.send(0x80, key, 64)
            time.sleep(self.dice.uniform(0.01, 0.1))
        self.settle()
        self.sent += count
        self.heard += sum(key in self.probe.notes() for key in keys)

    def anything(self):
        """Slurs, chords, pedals, control keys, bends: only that nothing hangs is known."""
        down = []
        for _ in range(self.dice.randint(10, 80)):
            chance = self.dice.random()
            if chance < 0.45 or not down:
                key = self.dice.randint(20, 100)
                self.probe.send(0x90, key, self.dice.randint(1, 127))
                down.append(key)
            elif chance < 0.8:
                self.probe.send(0x80, down.pop(self.dice.randrange(len(down))), 64)
            elif chance < 0.97:
                self.probe.send(0xB0, self.dice.choice([1, 2, 11, 64, 67]), self.dice.randint(0, 127))
            else:
                self.probe.send(0xE0, self.dice.randint(0, 127), self.dice.randint(0, 127))
            time.sleep(self.dice.uniform(0.003, 0.12))
        for key in down:
            self.probe.send(0x80, key, 64)
        for number in (64, 67):
            self.probe.send(0xB0, number, 0)
        # What control keys chose is given back: the arm in, reading, no alternation.
        for method, wish in (("bypass", {"on": False}), ("read_technique", None), ("alternate", {"on": False})):
            self.service.ask(method, wish)
        self.settle()

    def settle(self):
        """What rings or returns ends by itself; a note that is down after that hangs."""
        for _ in range(40):
            time.sleep(0.25)
            held = self.probe.heard()["held"]
            if held == 0:
                break
        else:
            self.hanging += held
            print(f"phrase {self.phrases}: {held} notes hang", flush=True)
        self.phrases += 1

    def restart_server(self):
        self.probe.send(0x90, 67, 80)
        time.sleep(0.1)
        self.jack.kill()
        time.sleep(self.dice.uniform(0.2, 3))
        self.probe.end()
        self.jack.start()
        self.probe = Probe(self.options.program, self.studio.environment)
        self.connected()
        self.restarts += 1

    def run(self):
        began = time.monotonic()
        clients = Clients(self.studio.socket, self.options.clients, self.options.seed + 1)
        try:
            self.begin()
            clients.start()
            restart_at = began + 60 * self.options.restart_every
            while time.monotonic() - began < 60 * self.options.minutes:
                self.dice.choice([self.separate_notes, self.anything])()
                if self.dice.random() < 0.3:
                    time.sleep(1.5)  # the take ends
                self.memory.append(((time.monotonic() - began) / 3600, own_memory_kb(self.service.process.pid)))
                if time.monotonic() >= restart_at:
                    self.restart_server()
                    restart_at = time.monotonic() + 60 * self.options.restart_every
            clients.ends.set()
            clients.join()
            return self.verdict(clients)
        finally:
            clients.ends.set()
            if self.probe:
                self.probe.end()
            if self.service:
                self.service.end()
            self.jack.end()
            self.studio.remove()

    def verdict(self, clients):
        status = self.service.ask()
        ended = self.service.stop(10)
        tail = self.memory[len(self.memory) // 3:]
        slope, error = slope_of(tail)
        print(f"{self.phrases} phrases, {self.heard} of {self.sent} separate notes heard, {self.hanging} hang; {self.restarts} restarts of the server; "
              f"{clients.joined} clients, {clients.read / 1e6:.0f} MB read; {status['inputs']} inputs, {status['lost_inputs']} lost; exit {ended}")
        print(f"own memory {tail[0][1]} to {tail[-1][1]} kB: {slope:.0f} kB an hour, standard error {error:.0f}")
        check(self.heard == self.sent, "separate notes are missing")
        check(self.hanging == 0, "notes hang")
        check(status["lost_inputs"] == 0, "inputs were lost")
        check(ended == 0, f"exit {ended}")
        check(slope <= 2 * error + 50, "memory grows")


def slope_of(samples):
    """kB an hour, and its standard error (least squares)."""
    hours, size = [s[0] for s in samples], [s[1] for s in samples]
    middle = statistics.fmean(hours)
    spread = sum((h - middle) ** 2 for h in hours)
    slope = sum((h - middle) * s for h, s in zip(hours, size)) / spread
    level = statistics.fmean(size) - slope * middle
    rest = sum((s - level - slope * h) ** 2 for h, s in samples)
    return slope, (rest / max(1, len(samples) - 2) / spread) ** 0.5


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("program")
    a.add_argument("source")
    a.add_argument("--minutes", type=float, default=120)
    a.add_argument("--restart-every", type=float, default=4, help="minutes")
    a.add_argument("--clients", type=int, default=50)
    a.add_argument("--seed", type=int, default=random.SystemRandom().randrange(1 << 30))
    options = a.parse_args()
    print(f"seed {options.seed}", flush=True)
    try:
        Soak(options).run()
    except Failed as trouble:
        print(f"broken: {trouble}")
        sys.exit(1)


if __name__ == "__main__":
    main()
