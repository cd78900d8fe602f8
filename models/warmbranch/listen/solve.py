"""The whole of listening on one page: recordings in, speeds, levels and a notch out."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from warmbranch.base.batch import BoolArray, RealArray
from warmbranch.base.errors import InputError
from warmbranch.listen.cells import Cells, gathered, thinned
from warmbranch.listen.fine import REACH, corrections, shifted_orders, smoothed
from warmbranch.listen.gain import GainHeard, gain_heard, known_gain
from warmbranch.listen.layout import HIGHEST_RATE, Layout
from warmbranch.listen.notch import ExpectedNotch, Notch, find_notch
from warmbranch.listen.orders import OrderLevels, order_levels
from warmbranch.listen.shapes import Shape, TransmissionLoss, forms_of
from warmbranch.listen.spectra import reduced
from warmbranch.listen.speed import Anchor, CoarseTrack, coarse_track

LEAST_SECONDS = 3.0
LEAST_RATE = 8000
"""Hz. Slower recordings lack the upper orders."""

HEARD, SURE = 0.9, 0.9
"""Chances from which on a moment is held."""

MOST_CELLS = 700
"""In the likelihood of a notch, whose cost goes with their cube."""


@dataclass(frozen=True)
class HeardRecording:
    """One recording, as heard.

    Parameters
    ----------
    track : CoarseTrack
        Its ``log_speed`` is the final one.
    deviation : (frames,) array
        Of the logarithm of the speed.
    held : (frames,) array of bool
        Moments at which the engine is heard and its speed is sure.
    levels : OrderLevels
    gain : GainHeard
        Of the recorder, from a pilot tone, else from the noise above the orders.
    seconds : float
    """

    track: CoarseTrack
    deviation: RealArray
    held: BoolArray
    levels: OrderLevels
    gain: GainHeard
    seconds: float


def hear(
    samples: RealArray,
    sample_rate: int,
    layout: Layout,
    slowest: float,
    fastest: float,
    *,
    highest_rate: float = HIGHEST_RATE,
    anchors: tuple[Anchor, ...] = (),
    pilot: float | None = None,
) -> HeardRecording:
    """Follow the engine through one recording.

    Parameters
    ----------
    samples : (n,) array
        Any unit; only ratios count.
    sample_rate : int, Hz
    layout : Layout
    slowest, fastest : float, 1/s
        Revolutions per second within which the engine stays in the recording.
    highest_rate : float, 1/s
        Largest rate of the logarithm of the speed in gear.
    anchors : tuple of Anchor
        Speeds known at moments.
    pilot : float, Hz, optional
        A steady tone that was played beside the recorder.

    Returns
    -------
    HeardRecording

    Raises
    ------
    InputError
        Too short, too slow a sampling, silence, samples that are no numbers.
    """
    _check(samples, sample_rate, slowest, fastest)
    samples = samples.astype(np.float64)
    sound = reduced(samples, sample_rate)
    track = coarse_track(sound, layout, slowest, fastest, highest_rate, anchors)
    held = (track.heard > HEARD) & (track.sure > SURE)
    deviation = np.full(len(track.time), np.nan)
    if not np.any(held):
        nothing = np.zeros((len(layout.orders), len(track.time)))
        gain = known_gain(np.zeros(len(track.time)))
        return HeardRecording(
            track, deviation, held, OrderLevels(nothing, nothing), gain, len(sound) / 3000
        )
    for _ in range(2):
        shifted = shifted_orders(sound, layout.orders, track.time, track.log_speed)
        offset, spread = corrections(shifted, layout.orders, track)
        spread = np.where(track.heard > 0.5, spread, 10 * REACH)
        speed, deviation = smoothed(track.log_speed + offset, spread)
        track = replace(track, log_speed=speed)
    shifted = shifted_orders(sound, layout.orders, track.time, track.log_speed)
    levels = order_levels(shifted, layout.orders, track)
    if pilot is None:
        gain = gain_heard(samples, sample_rate, track.time, track.log_speed, held)
    else:
        gain = known_gain(pilot_gain(samples, sample_rate, pilot, track.time))
    return HeardRecording(track, deviation, held, levels, gain, len(samples) / sample_rate)


def _check(samples: RealArray, sample_rate: int, slowest: float, fastest: float) -> None:
    if sample_rate < LEAST_RATE:
        raise InputError(
            f"The recording has {sample_rate} samples a second, too few.",
            field="sample_rate",
            value=sample_rate,
            unit="Hz",
            remedy=f"Record at {LEAST_RATE} Hz or more.",
        )
    seconds = len(samples) / sample_rate
    if seconds < LEAST_SECONDS:
        raise InputError(
            f"The recording lasts {seconds:.2g} s, too short to follow an engine.",
            field="samples",
            value=round(seconds, 3),
            unit="s",
            remedy=f"Record {LEAST_SECONDS:g} s or more; a slow pull takes 20.",
        )
    if not np.all(np.isfinite(samples)):
        raise InputError(
            "The recording has samples that are no numbers.",
            field="samples",
            value=int(np.count_nonzero(~np.isfinite(samples))),
            unit="samples",
            remedy="Export it again as WAV.",
        )
    if np.ptp(samples) == 0:
        raise InputError(
            "The recording is silent.",
            field="samples",
            value=0.0,
            unit="1",
            remedy="Check that the microphone was on and allowed.",
        )
    if not 0 < slowest < fastest:
        raise InputError(
            "The lowest engine speed is not below the highest.",
            field="slowest",
            value=slowest,
            unit="1/s",
            remedy="Give the lowest and the highest engine speed in the recording.",
        )


def pilot_gain(samples: RealArray, sample_rate: int, pilot: float, time: RealArray) -> RealArray:
    """Gain of the recorder at each moment, dB over its median, from a steady tone."""
    if not 1200 <= pilot <= 0.45 * sample_rate:
        raise InputError(
            "The pilot tone is not between 1.2 kHz and what the recording holds.",
            field="pilot",
            value=pilot,
            unit="Hz",
            remedy="Play a steady tone of 3 kHz.",
        )
    hop = round(0.1 * sample_rate)
    window = np.hanning(hop + 1)[:hop]
    starts = np.clip(np.rint(time * sample_rate).astype(int) - hop // 2, 0, len(samples) - hop)
    turn = np.exp(-2j * np.pi * pilot / sample_rate * np.arange(hop)) * window
    level = np.array([np.abs(samples[start : start + hop] @ turn) for start in starts])
    decibels = 20 * np.log10(np.maximum(level, 1e-12 * level.max() + 1e-300))
    return decibels - np.median(decibels)


def cells_of(heard: HeardRecording, layout: Layout) -> Cells:
    """Levels of one recording, gathered."""
    return gathered(heard.levels, heard.track.log_speed, heard.held, layout.orders, heard.gain.mean)


def notch_of(
    before: list[HeardRecording],
    after: list[HeardRecording],
    layout: Layout,
    *,
    same_place: bool = True,
    gain_known: bool = False,
    loss: TransmissionLoss | None = None,
    prior: ExpectedNotch | None = None,
) -> Notch | None:
    """Weigh a notch in recordings after, with those before as the reference.

    Parameters
    ----------
    before, after : list of HeardRecording
        ``before`` may be empty.
    layout : Layout
    same_place : bool
        The recorder lay in one place before and after.
    gain_known : bool
        A pilot tone took the gain off.
    loss : callable, optional
        The branch's transmission loss, dB at Hz; with ``prior``, at whose frequency it resonates.
    prior : ExpectedNotch, optional
    """
    recordings = before + after
    parts = [
        thinned(cells_of(heard, layout), MOST_CELLS // len(recordings)) for heard in recordings
    ]
    names = ("order", "log_speed", "log_frequency", "level", "deviation", "noise_share")
    cells = Cells(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))
    recording = np.repeat(np.arange(len(parts)), [len(part) for part in parts])
    shapes: tuple[Shape, ...] | None = None
    if loss is not None and prior is not None:
        shapes = forms_of(loss, prior.frequency)
    return find_notch(
        cells,
        recording,
        recording >= len(before),
        shapes,
        moved=bool(before) and not same_place,
        gain_known=gain_known,
        prior=prior,
    )
