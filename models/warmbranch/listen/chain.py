"""A hidden chain of states on a line, each heard or not.

The line is the logarithm of the engine's speed. An engine that is not heard turns on: its speed is
then less bound, as gears are changed there, but not forgotten. Rabiner, Proc. IEEE 77 (1989) 257:
Viterbi's path and the forward-backward marginals, whole recording at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import BoolArray, IntArray, RealArray

FALL_SILENT = 0.01
"""Chance, a step, that a heard engine is no longer heard."""

SOUND_AGAIN = 0.05
"""Chance, a step, that it is heard again."""


@dataclass(frozen=True)
class Chain:
    """What a chain was found to be.

    Parameters
    ----------
    path : (frames,) array of int
        States of the likeliest whole path.
    heard_path : (frames,) array of bool
        Where that path is heard.
    marginal : (frames, states) array of float32
        Chance of each state, heard.
    heard : (frames,) array
        Chance of being heard: the sum of ``marginal``.
    evidence : float
        Logarithm of the likelihood, against silence throughout.
    """

    path: IntArray
    heard_path: BoolArray
    marginal: RealArray
    heard: RealArray
    evidence: float


@dataclass(frozen=True)
class Moves:
    """Chances of moving along the line in one step.

    Parameters
    ----------
    heard, unheard : (2 reach + 1,) arrays
        For moves of -reach..reach states.
    """

    heard: RealArray
    unheard: RealArray


def steps(spread: float, reach: int) -> RealArray:
    """Chances of moving by -reach..reach states: two-sided exponential of mean ``spread``."""
    moves = np.arange(-reach, reach + 1)
    chance = np.exp(-np.abs(moves) / spread)
    return chance / chance.sum()


def solve(score: RealArray, moves: Moves, known: RealArray | None = None) -> Chain:
    """Path and marginals.

    Parameters
    ----------
    score : (frames, states) array
        Log-likelihood of each state, heard, against silence.
    moves : Moves
    known : (frames, states) array, optional
        Log-likelihood of each state, heard or not, from elsewhere.

    Returns
    -------
    Chain
    """
    return weighed(*likeliest(score, moves, known), score, moves, known)


def weighed(
    path: IntArray,
    heard_path: BoolArray,
    score: RealArray,
    moves: Moves,
    known: RealArray | None = None,
) -> Chain:
    """A path that was found, with the marginals beside it."""
    marginal, heard, evidence = _marginals(score, moves, known)
    return Chain(path, heard_path, marginal, heard, evidence)


class _BestMove:
    """Best value that reaches each state, step after step."""

    def __init__(self, log_step: RealArray, states: int) -> None:
        self.reach = len(log_step) // 2
        self.padded = np.full(states + 2 * self.reach, -np.inf)
        # Row j: state i is reached from i - reach + j. The kernels are symmetric.
        self.moved = np.lib.stride_tricks.sliding_window_view(self.padded, states)
        self.step = log_step[:, None]
        self.inner = self.padded[self.reach : self.reach + states]
        self.options = np.empty(self.moved.shape)

    def __call__(self, best: RealArray) -> RealArray:
        self.inner[:] = best
        np.add(self.moved, self.step, out=self.options)
        return self.options.max(axis=0)

    def origin(self, best: RealArray, state: int) -> tuple[float, int]:
        """That value of one state, and the state that it comes from."""
        low = max(state - self.reach, 0)
        part = best[low : state + self.reach + 1]
        first = low - (state - self.reach)
        options = part + self.step[first : first + len(part), 0]
        place = int(options.argmax())
        return float(options[place]), low + place


def likeliest(
    score: RealArray, moves: Moves, known: RealArray | None = None
) -> tuple[IntArray, BoolArray]:
    """States of the likeliest whole path, and where it is heard; arguments as of ``solve``."""
    frames, states = score.shape
    from_heard = _BestMove(np.log(moves.heard), states)
    from_unheard = _BestMove(np.log(moves.unheard), states)
    fall, hold = math.log(FALL_SILENT), math.log1p(-FALL_SILENT)
    again, stay = math.log(SOUND_AGAIN), math.log1p(-SOUND_AGAIN)
    # Only the best values are kept: where they came from is asked along one path alone.
    heard = np.empty((frames, states))
    unheard = np.empty((frames, states))
    heard[0] = score[0] + math.log(0.5 / states)
    unheard[0] = math.log(0.5 / states)
    if known is not None:
        heard[0] += known[0]
        unheard[0] += known[0]
    for frame in range(1, frames):
        kept, roamed = from_heard(heard[frame - 1]), from_unheard(unheard[frame - 1])
        np.maximum(kept + hold, roamed + again, out=heard[frame])
        heard[frame] += score[frame]
        np.maximum(kept + fall, roamed + stay, out=unheard[frame])
        if known is not None:
            heard[frame] += known[frame]
            unheard[frame] += known[frame]
    path, heard_path = np.empty(frames, np.int64), np.empty(frames, np.bool_)
    state = int(np.argmax(np.concatenate([heard[-1], unheard[-1]])))
    on, state = state < states, state % states
    for frame in range(frames - 1, -1, -1):
        heard_path[frame], path[frame] = on, state
        if frame:
            kept, kept_from = from_heard.origin(heard[frame - 1], state)
            roamed, roamed_from = from_unheard.origin(unheard[frame - 1], state)
            on = kept + hold >= roamed + again if on else kept + fall > roamed + stay
            state = kept_from if on else roamed_from
    return path, heard_path


def _marginals(
    score: RealArray, moves: Moves, known: RealArray | None
) -> tuple[RealArray, RealArray, float]:
    frames, states = score.shape
    top = np.maximum(score.max(axis=1), 0)
    like, mute = np.exp(score - top[:, None]), np.exp(-top)[:, None]
    if known is not None:
        like, mute = like * np.exp(known), mute * np.exp(known)
    heard_forward = np.empty((frames, states), np.float32)
    unheard_forward = np.empty((frames, states), np.float32)
    heard, unheard = like[0] * (0.5 / states), mute[0] * np.full(states, 0.5 / states)
    evidence = float(top[0])
    for frame in range(frames):
        if frame:
            kept = np.convolve(heard, moves.heard, "same")
            roamed = np.convolve(unheard, moves.unheard, "same")
            heard = (kept * (1 - FALL_SILENT) + roamed * SOUND_AGAIN) * like[frame]
            unheard = (kept * FALL_SILENT + roamed * (1 - SOUND_AGAIN)) * mute[frame]
            evidence += float(top[frame])
        total = heard.sum() + unheard.sum()
        heard, unheard = heard / total, unheard / total
        evidence += float(np.log(total))
        heard_forward[frame], unheard_forward[frame] = heard, unheard
    back_heard, back_unheard = np.ones(states), np.ones(states)
    chance = np.empty(frames)
    for frame in range(frames - 1, -1, -1):
        heard = heard_forward[frame] * back_heard
        all_unheard = float(unheard_forward[frame] @ back_unheard)
        total = heard.sum() + all_unheard
        heard_forward[frame] = heard / total
        chance[frame] = heard.sum() / total
        if frame:
            heard, unheard = back_heard * like[frame], back_unheard * mute[frame]
            from_heard = heard * (1 - FALL_SILENT) + unheard * FALL_SILENT
            from_unheard = heard * SOUND_AGAIN + unheard * (1 - SOUND_AGAIN)
            back_heard = np.convolve(from_heard, moves.heard, "same")
            back_unheard = np.convolve(from_unheard, moves.unheard, "same")
            largest = max(back_heard.max(), back_unheard.max())
            back_heard, back_unheard = back_heard / largest, back_unheard / largest
    return heard_forward, chance, evidence
