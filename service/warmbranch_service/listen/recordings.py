"""Recordings as they come: decoded in a process of their own, bounded in time and memory."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from warmbranch_service.contract.errors import INVALID, Entry, Problem
from warmbranch_service.listen import decoding


@dataclass(frozen=True)
class Limits:
    """What a recording may be.

    Parameters
    ----------
    seconds : float
        Longest.
    channels : int
        Most.
    memory_MB : int
        Address space of the decoder.
    cpu_s : float
        Processor time, and twice as much of the clock, of the decoder.
    phone : bool
        M4A, 3GP and WebM too, by the extra ``phone``; never in a service.
    """

    seconds: float = 600.0
    channels: int = 8
    memory_MB: int = 2048
    cpu_s: float = 20.0
    phone: bool = False


@dataclass(frozen=True)
class Recording:
    """Mono samples.

    Parameters
    ----------
    samples : (n,) array
        Any unit; only ratios count.
    sample_rate_Hz : int
    clipped_share : float
        Of the file's samples, those at full scale.
    """

    samples: NDArray[np.floating]
    sample_rate_Hz: int
    clipped_share: float = 0.0


def decoded(content: bytes, name: tuple[str | int, ...], limits: Limits) -> Recording:
    """Decode one file.

    Parameters
    ----------
    content : bytes
    name : tuple
        Place of the part, for a refusal: ``("after", 0)``.
    limits : Limits

    Raises
    ------
    Problem
        ``invalid-request`` that names the part, what is wrong and the remedy.
    """
    bounds = {
        "seconds": limits.seconds,
        "channels": limits.channels,
        "memory_MB": limits.memory_MB,
        "cpu_s": limits.cpu_s,
        "phone": limits.phone,
    }
    # By its path: it needs nothing of the package, whose import takes as long as decoding does.
    command = [sys.executable, "-P", decoding.__file__, json.dumps(bounds)]
    try:
        done = subprocess.run(
            command, input=content, capture_output=True, timeout=2 * limits.cpu_s, check=False
        )
    except subprocess.TimeoutExpired:
        raise _refused(
            name, "decoding_too_long", "The file takes too long to decode.", "Export it as WAV."
        ) from None
    head, _, tail = done.stdout.partition(b"\n")
    if done.returncode != 0 or not head:
        # Out of memory or time, or the decoder fell: the file's fault as far as can be told.
        raise _refused(
            name,
            "damaged_audio",
            "The file cannot be decoded within the bounds of memory and time.",
            "Export the recording as WAV.",
        )
    told = json.loads(head)
    if "code" in told:
        raise _refused(name, told["code"], told["detail"], told["remedy"])
    samples = np.frombuffer(tail, "<f4")
    return Recording(samples, int(told["rate"]), float(told["clipped"]))


def _refused(name: tuple[str | int, ...], code: str, detail: str, remedy: str) -> Problem:
    entry = Entry(name, code, detail, remedy)
    return Problem(INVALID, entry.sentence(), entries=[entry])
