"""How long listening takes, beside a plain pipeline of the same steps; and how much memory.

    python tests/benchmarks/bench_listen.py

A minute of an invented recording, at 44.1 kHz as FLAC: decoded, the engine followed, levels of its
orders, loudness, a notch weighed. The plain pipeline has scipy alone: a spectrogram, sums over the
firing order's multiples, Viterbi over a grid of speeds, each order shifted, low-passed and squared,
A-weighted by a table; it finds no notch and no certainty. Processor seconds, the better of two;
promised: under 2 s on an idle machine, under 300 MB, and twice as long a recording twice the time.
How right it is: coverage_listen.py.
"""

from __future__ import annotations

import io
import os
import resource
import sys
import time
from collections.abc import Callable

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, os.path.join(os.path.dirname(__file__), ".."))

import numpy as np
import soundfile
from scipy import signal

from shared.recordings import Recording, record, some_drive
from warmbranch.case.engine import Cycle
from warmbranch.listen.layout import engine_layout
from warmbranch.listen.loudness import drone, loudness
from warmbranch.listen.solve import hear, notch_of
from warmbranch.listen.weighting import a_weighting
from warmbranch_service.listen.recordings import Limits, decoded

FOUR = engine_layout(4, Cycle.FOUR_STROKE)
LOWEST, HIGHEST = 900 / 60, 5500 / 60
RATE = 3000
LIMITS = Limits()


def a_file(seconds: float) -> bytes:
    """A pull through the revs with a notch, as a file."""
    made: Recording = record(
        some_drive(3, seconds=seconds, manner="up", cylinders=4, notch_Hz=90.0, clipped=False)
    )
    wide = signal.resample_poly(made.samples, 441, 80)
    buffer = io.BytesIO()
    soundfile.write(buffer, wide, 44_100, format="FLAC")
    return buffer.getvalue()


def ours(content: bytes) -> None:
    """All of it, as POST /v1/listen does but for the answer's JSON."""
    found = decoded(content, ("after", 0), LIMITS)
    heard = hear(found.samples, found.sample_rate_Hz, FOUR, LOWEST, HIGHEST)
    curve = loudness(
        [heard.levels], [heard.track.log_speed], [heard.held], FOUR.orders, [heard.gain]
    )
    assert drone(curve) is not None
    assert notch_of([], [heard], FOUR) is not None


def plain(content: bytes) -> None:
    """The same steps as they are usually written."""
    samples, rate = soundfile.read(io.BytesIO(content))
    sound = signal.resample_poly(samples, RATE, rate)
    frequency, frames, spectrum = signal.stft(
        sound, RATE, nperseg=960, noverlap=660, nfft=4096, padded=False, boundary=None
    )
    logs = np.log(np.abs(spectrum.T) ** 2 + 1e-12)
    speeds = np.exp(np.arange(np.log(LOWEST), np.log(HIGHEST), 0.006))
    score = np.zeros((len(frames), len(speeds)))
    for order in (2, 4, 6, 8):
        place = np.rint(order * speeds / frequency[1]).astype(int)
        score += logs[:, np.minimum(place, len(frequency) - 1)]
    path = viterbi(score, reach=10)
    every = np.arange(len(sound)) / RATE
    angle = 2 * np.pi * np.cumsum(np.interp(every, frames, speeds[path])) / RATE
    low_pass = signal.butter(4, 2.0, fs=RATE, output="sos")
    total = np.zeros(len(sound))
    for order in FOUR.orders:
        envelope = signal.sosfiltfilt(low_pass, sound * np.exp(-1j * order * angle))
        weight = 10 ** (a_weighting(order * np.interp(every, frames, speeds[path])) / 10)
        total += 2 * np.abs(envelope) ** 2 * weight
    bins = np.floor(np.interp(every, frames, speeds[path])).astype(int)
    assert np.argmax(np.bincount(bins, total) / np.maximum(np.bincount(bins), 1)) > 0


def viterbi(score: np.ndarray, reach: int) -> np.ndarray:
    """The likeliest path of speeds."""
    best, came = score[0], np.zeros(score.shape, int)
    cost = -0.5 * np.abs(np.arange(-reach, reach + 1))
    for frame in range(1, len(score)):
        padded = np.pad(best, reach, constant_values=-np.inf)
        options = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1) + cost
        move = options.argmax(axis=1)
        came[frame] = np.clip(np.arange(len(best)) + move - reach, 0, len(best) - 1)
        best = options.max(axis=1) + score[frame]
    path = np.empty(len(score), int)
    path[-1] = best.argmax()
    for frame in range(len(score) - 1, 0, -1):
        path[frame - 1] = came[frame, path[frame]]
    return path


def spent(work: Callable[[bytes], None], content: bytes) -> float:
    """Processor seconds of this process and of its decoder, the better of two."""

    def clock() -> float:
        usage = [
            resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        ]
        return sum(one.ru_utime + one.ru_stime for one in usage)

    times = []
    for _ in range(2):
        begun = clock()
        work(content)
        times.append(clock() - begun)
    return min(times)


if __name__ == "__main__":
    minute, two = a_file(60.0), a_file(120.0)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    wall = time.monotonic()
    first = spent(ours, minute)
    wall = (time.monotonic() - wall) / 2
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    decoder = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"a minute      {first:.2f} s of processor, {wall:.2f} s by the clock")
    print(f"two minutes   {spent(ours, two):.2f} s of processor")
    usual = spent(plain, minute)
    print(f"plain, scipy  {usual:.2f} s: ours over it {first / usual:.1f}")
    print(f"memory        {peak:.0f} MB, {before / 1024:.0f} before it; decoder {decoder:.0f} MB")
