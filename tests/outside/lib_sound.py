"""Sound files for the tests: how loud, how high, how alike; nothing but Python's own library."""
import array
import math
import sys
import wave


class Sound:
    def __init__(self, path):
        with wave.open(path) as file:
            assert file.getnchannels() == 1 and file.getsampwidth() == 2, "mono, 16 bits"
            self.rate = file.getframerate()
            self.samples = array.array("h", file.readframes(file.getnframes()))
        if sys.byteorder == "big":
            self.samples.byteswap()

    def part(self, begin_s, end_s):
        return self.samples[round(begin_s * self.rate):round(end_s * self.rate)]

    def peak(self):
        return max(map(abs, self.samples), default=0)

    def decibels(self, begin_s, end_s):
        """Below full scale."""
        part = self.part(begin_s, end_s)
        return 10 * math.log10(max(1e-12, sum(x * x for x in part) / len(part) / 32768.0 ** 2))

    def cents_off(self, hertz, begin_s, length_s=0.05):
        """How far above `hertz` it sounds: the autocorrelation over several periods, its top by a parabola."""
        period = self.rate / hertz
        periods = max(1, min(8, int(length_s * self.rate / period)))
        window = round(length_s * self.rate)
        start = round(begin_s * self.rate)

        def likeness(lag):
            a, b = self.samples[start:start + window], self.samples[start + lag:start + lag + window]
            both, one, other = sum(map(int.__mul__, a, b)), sum(x * x for x in a), sum(x * x for x in b)
            return both / math.sqrt(one * other) if one and other else 0.0

        best = max(range(int(period * periods * 0.97), int(period * periods * 1.03) + 2), key=likeness)
        before, top, after = likeness(best - 1), likeness(best), likeness(best + 1)
        lag = best + (before - after) / (2 * (before - 2 * top + after))
        return 1200 * math.log2(period * periods / lag)

    def strength(self, hertz, begin_s, end_s):
        """Of one frequency, by its Fourier sum over a Hann window."""
        part = self.part(begin_s, end_s)
        step = 2 * math.pi * hertz / self.rate
        window = [0.5 - 0.5 * math.cos(2 * math.pi * i / len(part)) for i in range(len(part))]
        re = sum(x * w * math.cos(step * i) for i, (x, w) in enumerate(zip(part, window)))
        im = sum(x * w * math.sin(step * i) for i, (x, w) in enumerate(zip(part, window)))
        return math.hypot(re, im) / len(part)


def hertz(key):
    """Equal temperament, A4 = 440 Hz."""
    return 440 * 2 ** ((key - 69) / 12)
