"""A status service that bows up and down, for tests of the companion; the real one needs no sound but a whole bowarmd.

    lib_fake_service.py SOCKET      serves until it is ended
"""

import json
import math
import os
import socket
import sys
import threading
import time


def snapshot(at_s):
    turn = at_s % 4.0
    direction = "down" if turn < 2.0 else "up"
    hair = turn / 2.0 if turn < 2.0 else (4.0 - turn) / 2.0
    off = int(at_s) % 8 >= 6
    return {
        "at_ns": int(at_s * 1e9), "name": "first desk", "instrument": "violin", "target": "general midi strings",
        "bypassed": False, "alternating": False, "amount": 1, "sounding": True, "sounding_notes": 1, "pitch": 67,
        "technique": "spiccato" if off else "detache", "technique_chosen": False, "read": "short" if off else "separate",
        "direction": direction, "on_string": not off,
        "string": "GDAE"[int(at_s / 4) % 4], "hair": round(hair, 4), "hair_left_s": round(2.0 - turn % 2.0, 3),
        "speed_m_s": 0.31, "force_n": round(0.8 + 0.7 * math.sin(at_s), 3), "force_low_n": 0.25, "force_high_n": 1.4,
        "beta": 0.11, "loudness": 0.55, "bar": 1 + int(at_s / 2), "beat": 1 + at_s % 2 * 2, "confidence": 0.9, "beat_from": "clock",
        "reasons": ["down-bow on the strong beat", "this direction has the hair left"] if direction == "down" else ["down and up alternate"],
        "last_retake": False,
        "counts": {"notes": 40, "strokes": 31, "retakes": 2, "forced_changes": 1, "repairs": 0, "unmended": 0, "warnings": 1},
        "warnings": [{"code": "hair-runs-out", "text": "the hair ran out: the bow changed inside the note",
                      "at_ns": int((at_s - at_s % 10) * 1e9), "bar": 3, "beat": 4}],
    }


STATUS = {
    "version": "0.1.0", "protocol": 1, "running_s": 12.5, "midi_system": "none", "take_folder": "", "take_problem": "", "inputs": 3,
    "lost_inputs": 0, "latest_wake_ns": 120000,
    "ports": [{"role": "in", "name": "keys", "state": "open", "connected": ["a keyboard"], "messages": 3, "dropped": 0},
              {"role": "out", "name": "strings", "state": "waiting", "connected": [], "messages": 0, "dropped": 0}],
}


class FakeService:
    def __init__(self, path, players=1):
        self.path = path
        self.players = players
        self.asked = []
        self.panics = 0
        self.alternate = []
        self.open = []
        self.listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.listener.bind(path)
        self.listener.listen()
        threading.Thread(target=self.accept, daemon=True).start()

    def close(self):
        os.unlink(self.path)
        self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()
        for peer in self.open:
            try:
                peer.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass
            peer.close()

    def accept(self):
        while True:
            try:
                peer, _ = self.listener.accept()
            except OSError:
                return
            self.open.append(peer)
            threading.Thread(target=self.serve, args=(peer,), daemon=True).start()

    def serve(self, peer):
        try:
            with peer.makefile("rb") as lines:
                for line in lines:
                    self.answer(peer, json.loads(line))
        except OSError:
            pass  # the peer went away

    def answer(self, peer, request):
        method = request["method"]
        self.asked.append((method, request.get("params")))
        result = {"subscribe": {"rate": 20}, "panic": {"accepted": True}, "alternate": {"accepted": True}}.get(method)
        if method == "status":
            result = dict(STATUS, players=[dict(snapshot(time.monotonic() + n), name=f"desk {n + 1}" if n else "first desk")
                                           for n in range(self.players)])
        if method == "panic":
            self.panics += 1
        if method == "alternate":
            self.alternate.append(request["params"]["on"])
        peer.sendall(json.dumps({"jsonrpc": "2.0", "result": result, "id": request["id"]}).encode() + b"\n")
        if method == "subscribe" and "events" in request["params"]:
            for number, event in enumerate(("note", "stroke", "warning")):
                params = {"event": event, "number": number + 1, "missed": 0, "player": 0, "at_ns": number}
                peer.sendall(json.dumps({"jsonrpc": "2.0", "method": "event", "params": params}).encode() + b"\n")
        elif method == "subscribe":
            threading.Thread(target=self.feed, args=(peer, 1 / request["params"]["rate"]), daemon=True).start()

    def feed(self, peer, period):
        try:
            while True:
                peer.sendall(json.dumps({"jsonrpc": "2.0", "method": "snapshot", "params": snapshot(time.monotonic())}).encode() + b"\n")
                time.sleep(period)
        except OSError:
            pass


if __name__ == "__main__":
    FakeService(sys.argv[1])
    threading.Event().wait()
