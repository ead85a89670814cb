"""What a script on the private JACK server needs: the server, one service, and one keyboard with ears that come and go."""
from lib_service import Failed, Jack, Probe, Service

KEYS, EARS = "piano:keys", "piano:ears"


class JackStage:
    def __init__(self, program, studio):
        self.program, self.studio = program, studio
        self.jack = Jack()
        self.service = self.probe = None

    def start_service(self):
        self.service = Service(self.program, self.studio)

    def new_probe(self):
        self.end_probe()
        self.probe = Probe(self.program, self.studio.environment)

    def end_probe(self):
        if self.probe:
            self.probe.end()
        self.probe = None

    def connected(self, role, part):
        return any(part in name for name in self.service.ports().get(role, {}).get("connected", []))

    def both_connected(self):
        return self.connected("in", KEYS) and self.connected("out", EARS)

    def end(self):
        """The server last, cleanly, so that its registry has its place back."""
        self.end_probe()
        if self.service:
            self.service.end()
        try:
            self.jack.end()
        except Failed as trouble:
            print(trouble)
        self.studio.remove()
