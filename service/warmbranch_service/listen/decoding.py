"""A recording's file turned into samples: run as a process of its own, which may be ended.

A decoder is hostile ground. This module is the child: it reads the file from standard input and
writes the sampling rate and mono samples, reduced to 8 kHz or a little more, to standard output.
``recordings.py`` starts it, bounds it and reads it. numpy alone beside the decoders: it starts
for every file.
"""

from __future__ import annotations

import io
import json
import math
import sys
from collections.abc import Iterator
from importlib import import_module
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

LEAST_RATE = 8000
TAPS = 16
"""On each side, a step of the reduced rate."""

BLOCK = 262_144
CLIPPED = 0.999
"""Of full scale."""

Samples = NDArray[np.float32]


class NotRead(Exception):
    """The file cannot be used; its text goes to the sender."""

    def __init__(self, code: str, detail: str, remedy: str) -> None:
        super().__init__(detail)
        self.code, self.detail, self.remedy = code, detail, remedy


NO_AUDIO = NotRead(
    "not_audio",
    "The file is no recording that is known here.",
    "Send WAV, FLAC, OGG or MP3. A phone's M4A, 3GP or WebM: send it from the bench page, which "
    "converts it, or export it as WAV.",
)


def blocks(content: bytes, limits: dict[str, float], phone: bool) -> tuple[int, Iterator[Samples]]:
    """Sampling rate, and blocks of (frames, channels)."""
    soundfile: Any = import_module("soundfile")  # ships no types

    try:
        file = soundfile.SoundFile(io.BytesIO(content))
    except soundfile.LibsndfileError:
        if not phone:
            raise NO_AUDIO from None
        return _by_av(content, limits)
    _check(file.samplerate, file.channels, file.frames / max(file.samplerate, 1), limits)

    def read() -> Iterator[Samples]:
        most = int(limits["seconds"] * file.samplerate) + 1
        done = 0
        while done <= most:
            try:
                block = cast("Samples", file.read(BLOCK, dtype="float32", always_2d=True))
            except soundfile.LibsndfileError:
                raise NotRead(
                    "damaged_audio", "The recording is damaged.", "Record or export it again."
                ) from None
            if not len(block):
                return
            done += len(block)
            yield block
        raise _too_long(limits)

    return file.samplerate, read()


def _by_av(content: bytes, limits: dict[str, float]) -> tuple[int, Iterator[Samples]]:
    try:
        av: Any = import_module("av")  # ships types that its own names contradict
    except ImportError:
        raise NotRead(
            "not_audio",
            "The file is no WAV, FLAC, OGG or MP3.",
            "Install the extra phone for M4A, 3GP and WebM, or export the recording as WAV.",
        ) from None
    try:
        container = av.open(io.BytesIO(content))
        stream = container.streams.audio[0]
    except (av.FFmpegError, IndexError, ValueError):
        raise NO_AUDIO from None
    rate = int(stream.rate or 0)
    _check(rate, stream.channels, 0.0, limits)

    def read() -> Iterator[Samples]:
        resampler: Any = av.AudioResampler(format="flt", layout="mono", rate=rate)
        done = 0
        try:
            for frame in container.decode(stream):
                for piece in resampler.resample(frame):
                    block = piece.to_ndarray().reshape(-1, 1)
                    done += len(block)
                    if done > limits["seconds"] * rate:
                        raise _too_long(limits)
                    yield block
        except av.FFmpegError:
            raise NotRead(
                "damaged_audio", "The recording is damaged.", "Record or export it again."
            ) from None

    return rate, read()


def _too_long(limits: dict[str, float]) -> NotRead:
    return NotRead(
        "recording_too_long",
        f"The recording is longer than {limits['seconds']:g} s.",
        "Cut it to the pull through the revs.",
    )


def _check(rate: int, channels: int, seconds: float, limits: dict[str, float]) -> None:
    if rate < LEAST_RATE or rate > 192_000:
        raise NotRead(
            "sampling_rate",
            f"The recording has {rate} samples a second.",
            f"Record at {LEAST_RATE} to 192000 Hz.",
        )
    if channels > limits["channels"]:
        raise NotRead(
            "too_many_channels",
            f"The recording has {channels} channels.",
            f"Send one of at most {limits['channels']:g}.",
        )
    if not math.isfinite(seconds) or seconds > limits["seconds"]:
        raise _too_long(limits)


def reduced(rate: int, pieces: Iterator[Samples]) -> tuple[int, Samples, float]:
    """Mono at a whole fraction of the rate, 8 kHz or more; and the share of clipped samples.

    A low-pass of windowed sinc: flat to 0.8 of half the new rate, 60 dB down from 1.2 of it on.
    """
    step = max(rate // LEAST_RATE, 1)
    reach = TAPS * step if step > 1 else 0
    places = np.arange(-reach, reach + 1) / step
    taps = (np.sinc(places) * np.blackman(len(places) + 2)[1:-1]).astype(np.float32)
    taps /= taps.sum()
    out: list[Samples] = []
    held = np.zeros(reach, np.float32)
    clipped = count = 0
    skip = 0
    for block in pieces:
        if not np.all(np.isfinite(block)):
            raise NotRead(
                "not_finite", "The recording has samples that are no numbers.", "Export it as WAV."
            )
        clipped += int(np.count_nonzero(np.abs(block) >= CLIPPED))
        count += block.size
        held = np.concatenate([held, block.mean(axis=1, dtype=np.float32)])
        held, skip = _filtered(held, taps, step, skip, out)
    held = np.concatenate([held, np.zeros(reach, np.float32)])
    _filtered(held, taps, step, skip, out)
    samples = np.concatenate(out) if out else np.zeros(0, np.float32)
    return rate // step, samples, clipped / max(count, 1)


def _filtered(
    held: Samples, taps: Samples, step: int, skip: int, out: list[Samples]
) -> tuple[Samples, int]:
    """Filter what is whole; give back what the next block needs, and where it begins."""
    whole = len(held) - len(taps) + 1
    if whole <= skip:
        return held, skip
    view = np.lib.stride_tricks.sliding_window_view(held, len(taps))[skip:whole:step]
    filtered = np.empty(len(view), np.float32)
    # Rows that do not overlap are a matrix to the library, which is eight times as quick.
    apart = -(-len(taps) // step)
    for first in range(apart):
        filtered[first::apart] = view[first::apart] @ taps
    out.append(filtered)
    taken = skip + len(view) * step
    keep = min(taken, whole)
    return held[keep:].copy(), taken - keep


def main() -> int:
    """Read a file from standard input, write samples or a refusal to standard output."""
    limits = json.loads(sys.argv[1])
    _bounded(limits)
    content = sys.stdin.buffer.read()
    try:
        if not content:
            raise NotRead("empty_file", "The file is empty.", "Send the recording.")
        rate, pieces = blocks(content, limits, bool(limits["phone"]))
        # A whole fraction below 8 kHz cannot be had: 11025 Hz stays, 22050 Hz is halved.
        new_rate, samples, clipped = reduced(rate, pieces)
        head = {"rate": new_rate, "source_rate": rate, "clipped": clipped, "count": len(samples)}
        tail = samples.astype("<f4").tobytes()
    except NotRead as error:
        head = {"code": error.code, "detail": error.detail, "remedy": error.remedy}
        tail = b""
    sys.stdout.buffer.write(json.dumps(head).encode() + b"\n" + tail)
    return 0


def _bounded(limits: dict[str, float]) -> None:
    """Memory and processor time of this process, where the system can bound them."""
    try:
        import resource
    except ImportError:  # no Unix: the parent's clock is the bound that is left
        return
    memory = int(limits["memory_MB"]) * 2**20
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    seconds = math.ceil(limits["cpu_s"])
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 1))


if __name__ == "__main__":
    sys.exit(main())
