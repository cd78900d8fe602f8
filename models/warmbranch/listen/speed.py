"""The engine's speed through a recording, coarse: the whole recording at once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from warmbranch.base.batch import BoolArray, IntArray, RealArray
from warmbranch.listen import chain
from warmbranch.listen.comb import Comb
from warmbranch.listen.layout import Layout
from warmbranch.listen.spectra import HOP, RATE, noise_floor, power_spectra, stretches

WINDOW = 0.32
"""s. Resolves half orders of a slow engine, and is short beside a pull through the revs."""

SIZE = 4096
HIGHEST = 700.0
LOWEST = 22.0
"""Hz. Band in which orders are sought."""

FLOOR_WIDTH = 120
FLOOR_STRIDE = 16

DYNAMICS = 1e-4
"""Least power of noise over that of the loudest tone of a moment."""

FLANK = 8
"""Bins, 6 Hz, on each side: half the main lobe of a stretch."""

STEP = math.log(2) / 106
"""Of the logarithm of the speed: an octave and a fifth are whole steps, to 1e-4, so that a rival at
such a ratio falls upon a step too."""

OVERLAP = 0.55
"""Share of a stretch that is news: of a Hann window, HOP over its effective length."""

USUAL_RATE = 0.06
"""1/s. Mean change of the logarithm of the speed."""

UNHEARD_RATE = 0.2
MOST_UNHEARD = 1.2
"""1/s. Mean and largest change while the engine is not heard: a gear is changed by a ratio of 1.4
in a third of a second."""

RESTARTS = (0.5, 2.0)
"""Speeds, over the one found, from which it is sought again."""

RIVALS = (1 / 3, 0.5, 2 / 3, 0.75, 4 / 3, 1.5, 2.0, 3.0)
"""Speeds, over the one found, at which a strong order would be another order."""

RANGE_BELIEVED = 60.0
"""Logarithm of the odds that the stated range of speeds holds, on the scale of rivals' odds, which
dependent moments overstate. Where it held, rivals beyond it fell short by 5 and more (25 made-up
recordings, seeds below 1000), or led by 35 (six orders alone, that half the speed has too); where
it did not, they led by 170 and more."""

SAME_SPEED = 5
"""States, 3 %, within which an order's level is much the same."""

MOST_AT_SPEED = 5
"""Moments at one speed that count."""

ANCHOR_SPREAD = 0.03
"""Of the logarithm of a speed that the sender states: a needle is read to some percent."""

ANCHOR_REACH = 0.5
"""s about the stated moment."""


@dataclass(frozen=True)
class Anchor:
    """A speed that is known at one moment.

    Parameters
    ----------
    time : float, s
    revolutions_per_second : float, 1/s
    spread : float
        Standard deviation of its logarithm.
    """

    time: float
    revolutions_per_second: float
    spread: float = ANCHOR_SPREAD


@dataclass(frozen=True)
class OtherSpeed:
    """Another speed that would explain the sound.

    Parameters
    ----------
    ratio : float
        Of the other speed to the one held.
    odds : float
        Natural logarithm of the likelihood of the one held over the other's.
    """

    ratio: float
    odds: float


@dataclass(frozen=True)
class CoarseTrack:
    """Speeds to half a percent or so.

    Parameters
    ----------
    time : (frames,) array, s
        Middles of the stretches.
    log_speed : (frames,) array
        Natural logarithm of revolutions per second; interpolated over gaps.
    heard : (frames,) array
        Chance that the engine is heard at all.
    sure : (frames,) array
        Chance of a speed within 2 % of the one held, given that it is heard.
    floor : (frames, bins) array
        Power of noise, of a sine as strong.
    rivals : tuple of OtherSpeed
    """

    time: RealArray
    log_speed: RealArray
    heard: RealArray
    sure: RealArray
    floor: RealArray
    rivals: tuple[OtherSpeed, ...]

    def noise_density(self, frequency: RealArray) -> RealArray:
        """Power density of the noise at a frequency of each frame, (frames,), 1/Hz."""
        width = RATE / SIZE
        bins = np.clip(np.rint(frequency / width).astype(np.int64), 0, self.floor.shape[1] - 1)
        # A Hann window of T seconds gathers noise of 1.5/T hertz.
        return self.floor[np.arange(len(bins)), bins] * (WINDOW / 1.5)


def coarse_track(
    sound: RealArray,
    layout: Layout,
    slowest: float,
    fastest: float,
    highest_rate: float,
    anchors: tuple[Anchor, ...] = (),
) -> CoarseTrack:
    """Follow the speed.

    Parameters
    ----------
    sound : (n,) array at ``RATE``
    layout : Layout
    slowest, fastest : float, 1/s
        Revolutions per second within which the engine stays.
    highest_rate : float, 1/s
        Of the logarithm of the speed; gear changes are faster and are gaps.
    anchors : tuple of Anchor
    """
    window, hop = round(WINDOW * RATE), round(HOP * RATE)
    starts = stretches(len(sound), window, hop)
    bins = int(HIGHEST / RATE * SIZE) + 1
    spectra = power_spectra(sound, starts, window, SIZE, bins)
    floor = noise_floor(spectra, FLOOR_WIDTH, FLOOR_STRIDE)
    # What leaks out of a loud tone is not noise, and no tone is worth more than this over noise.
    floor = np.maximum(floor, DYNAMICS * spectra.max(axis=1, keepdims=True))
    states = max(int(np.ceil(np.log(fastest / slowest) / STEP)) + 1, 3)
    log_speed = math.log(slowest) + STEP * np.arange(states)
    comb = Comb.over(_pointed(spectra, floor), RATE / SIZE, LOWEST, 4 / WINDOW, log_speed, layout)
    time = (starts + window / 2) / RATE
    known = _anchored(time, log_speed, anchors) if anchors else None
    reach = max(int(np.ceil(highest_rate * HOP / STEP)), 2)
    most = (states - 1) // 2
    moves = chain.Moves(
        chain.steps(USUAL_RATE * HOP / STEP, min(reach, most)),
        chain.steps(UNHEARD_RATE * HOP / STEP, min(int(MOST_UNHEARD * HOP / STEP), most)),
    )

    found = _best_of_starts(comb, known, moves)
    rivals = _rivals(comb, found, known)
    return _track(time, log_speed, found, floor, rivals)


def _pointed(spectra: RealArray, floor: RealArray) -> RealArray:
    """Power over noise, less on the flanks of a tone's main lobe, which would count as the tone."""
    top = ndimage.maximum_filter1d(spectra, 2 * FLANK + 1, axis=1, mode="nearest")
    return spectra / floor * (spectra / np.maximum(top, 1e-30)) ** 3


@dataclass(frozen=True)
class _Path:
    """A whole path of states, where it is heard, and the score and moves it is likeliest by."""

    states: IntArray
    heard: BoolArray
    score: RealArray
    moves: chain.Moves

    def alike(self, other: _Path) -> bool:
        """Whether it is the very same path."""
        return np.array_equal(self.states, other.states) and np.array_equal(self.heard, other.heard)


def _best_of_starts(comb: Comb, known: RealArray | None, moves: chain.Moves) -> chain.Chain:
    """The path with most support among those that learning from several starts leads to.

    Learning levels along a path makes that path likelier, so it has many resting places; an octave
    off is the commonest.
    """

    def likeliest(score: RealArray, bound: chain.Moves) -> _Path:
        return _Path(*chain.likeliest(score, bound, known), score, bound)

    def relearnt(path: IntArray, heard: BoolArray, bound: chain.Moves) -> _Path:
        return likeliest(OVERLAP * comb.score(comb.learnt(path, heard)), bound)

    def rested(found: _Path, rounds: int) -> _Path:
        for _ in range(rounds):
            last, found = found, relearnt(found.states, found.heard, found.moves)
            if found.alike(last):
                break
        return found

    in_gear = chain.Moves(moves.heard, moves.heard)
    unlearnt = OVERLAP * comb.score(comb.weights())
    found = [rested(likeliest(unlearnt, bound), 2) for bound in (moves, in_gear)]
    best = found[0]
    if any(np.any(path.heard) for path in found):
        for ratio in RESTARTS:
            states, inside = _moved(comb, found[1].states, found[1].heard, ratio)
            if np.count_nonzero(inside) > 0.3 * np.count_nonzero(found[1].heard):
                found.append(rested(relearnt(states, inside, in_gear), 1))
        best = max(found, key=lambda path: _support(comb, path, known))
        if best is not found[0] and best is not found[1]:
            # Gears may have been changed: once more with the freedom that takes.
            free = relearnt(best.states, best.heard, moves)
            best = max((best, free), key=lambda path: _support(comb, path, known))
    return chain.weighed(best.states, best.heard, best.score, best.moves, known)


def _support(comb: Comb, found: _Path, known: RealArray | None) -> float:
    """Evidence of a path with its own weights: likelihood, less what the weights cost."""
    return _evidence(comb, found.states, found.heard, known, OVERLAP)


def _evidence(
    comb: Comb, states: IntArray, heard: BoolArray, known: RealArray | None, news: float
) -> float:
    score = comb.evidence(states, heard, news)
    if known is not None:
        score += float(known[np.arange(len(states)), states].sum())
    return score


def _anchored(time: RealArray, log_speed: RealArray, anchors: tuple[Anchor, ...]) -> RealArray:
    known = np.zeros((len(time), len(log_speed)), np.float32)
    for anchor in anchors:
        near = np.abs(time - anchor.time) <= ANCHOR_REACH
        if not np.any(near):
            near = np.abs(time - anchor.time) == np.abs(time - anchor.time).min()
        off = (log_speed - np.log(anchor.revolutions_per_second)) / anchor.spread
        # A needle may be misread: far off it costs no more than thirty.
        known[near] -= np.minimum(0.5 * off**2, 30.0).astype(np.float32)
    return known


def _moved(
    comb: Comb, path: IntArray, heard: BoolArray, ratio: float
) -> tuple[IntArray, BoolArray]:
    """The path at a ratio of its speed, and where that is heard and within the range."""
    moved = path + round(np.log(ratio) / STEP)
    states = len(comb.log_speed)
    inside = heard & (moved >= 0) & (moved < states)
    return np.clip(moved, 0, states - 1), inside


def _rivals(comb: Comb, found: chain.Chain, known: RealArray | None) -> tuple[OtherSpeed, ...]:
    """Other speeds throughout, those beyond the stated range too: it may be mistaken."""
    states = len(comb.log_speed)
    reach = round(math.log(max(RIVALS)) / STEP)
    beyond = STEP * np.arange(1, reach + 1)
    wide = comb.at(
        np.concatenate(
            [comb.log_speed[0] - beyond[::-1], comb.log_speed, comb.log_speed[-1] + beyond]
        )
    )
    if known is not None:
        known = np.pad(known, ((0, 0), (reach, reach)), mode="edge")
    path = found.path + reach
    rivals: list[OtherSpeed] = []
    held: dict[bytes, float] = {}
    for ratio in RIVALS:
        moved = path + round(math.log(ratio) / STEP)
        inside = found.heard_path & (moved >= reach) & (moved < reach + states)
        believed = 0.0
        if np.count_nonzero(inside) < 0.8 * np.count_nonzero(found.heard_path):
            inside, believed = found.heard_path, RANGE_BELIEVED
        if not np.any(inside):
            continue
        news = OVERLAP * _news(found.path[inside])
        mask = inside.tobytes()
        if mask not in held:
            held[mask] = _evidence(wide, path, inside, known, news)
        other = _evidence(wide, moved, inside, known, news)
        rivals.append(OtherSpeed(ratio, held[mask] - other + believed))
    return tuple(rivals)


def _news(path: IntArray) -> float:
    """Share of the moments that tell something new: at one speed an order has one level."""
    _, counts = np.unique(path // SAME_SPEED, return_counts=True)
    return float(np.minimum(counts, MOST_AT_SPEED).sum() / len(path))


def _track(
    time: RealArray,
    log_speed: RealArray,
    found: chain.Chain,
    floor: RealArray,
    rivals: tuple[OtherSpeed, ...],
) -> CoarseTrack:
    """Posterior mean about the likeliest path."""
    frames = np.arange(len(time))
    held = found.heard_path
    wide = max(round(0.02 / STEP), 1)
    speed = np.full(len(time), np.nan)
    sure = np.zeros(len(time))
    for frame in frames[held]:
        low, high = max(found.path[frame] - wide, 0), found.path[frame] + wide + 1
        part = found.marginal[frame, low:high].astype(np.float64)
        near = part.sum()
        sure[frame] = near / max(found.heard[frame], 1e-12)
        speed[frame] = (
            part @ log_speed[low:high] / near if near > 0 else log_speed[found.path[frame]]
        )
    if np.any(held):
        speed = np.interp(time, time[held], speed[held])
    # What speaks for another speed throughout takes from every moment's certainty.
    sure = sure / (1 + sum(np.exp(-np.clip(rival.odds, -30, 700)) for rival in rivals))
    return CoarseTrack(
        time, speed, np.where(held, found.heard, 0.0), np.minimum(sure, 1.0), floor, rivals
    )
