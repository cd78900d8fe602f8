"""Slips that explain readings as well as the fit does, or better, weighed by their evidence.

Each usual slip turns what was written into what would then have been meant: degrees Fahrenheit read
as Celsius, a place measured from the cap. The model is fitted anew to that, and the two
explanations are compared by how probable they make what was written: Laplace's approximation of the
integral over all unknowns and shared errors. Slips are looked for only where the fit as written is
strained, since for a comfortable fit no slip is worth a question.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import ICE_POINT
from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch.case.case import Case
from warmbranch.fit.clock import WARMTH
from warmbranch.fit.ensemble import Ensemble, PriorDraws
from warmbranch.fit.observation_model import Altered
from warmbranch.fit.posterior import InverseProblem, Mode
from warmbranch.fit.readings import (
    COLDEST,
    HOTTEST,
    Readings,
    usual_uncertainty,
)
from warmbranch.fit.warmth import time_of

STRAINED = 3.0
"""Half the squared distance from all beliefs, over what it costs an honest fit, from which slips
are looked for: by simulation one clean fit in thirty is so strained."""

PRIOR_ODDS = 1 / 30
"""Of each slip before anything is weighed: people slip, now and then. Our judgement."""

LIKELY = 0.5
"""Odds against the fit as written from which a slip is told."""

SPARE = 5.0
"""By how much less a slip's ln(probability) at its best may be than that as written, and the slip
be likelier all the same: the room that beliefs are left with differs by less than e⁵."""

ENOUGH = 0.3
"""Rise of ln(probability) that is not worth a step: no odds worth telling hang on it."""

EARLY = 600.0
"""s after a cold start; before, a tone is low by 1 % and more."""

INCH = 0.0254

BARE_EMISSIVITY, BARE_SPREAD = 0.25, 0.5
"""Of a metal that was taken for painted, 8 to 14 µm, and one standard deviation of its logit."""

LEE, WINDWARD = 1.25, 0.75
"""Of the skin's excess where one half stands in the wind: from the model with films of 0.6 and 1.8
times the usual one. Such a wind in front lowers the tone by about 1 %, behind it raises it."""

WIND_ON_TONE = 0.01
EDGE = 0.08
"""Over the length: how far the wind's edge is blurred."""


@dataclass(frozen=True)
class Rival:
    """Another explanation of what was written.

    Parameters
    ----------
    name : str
        Key of ``SLIPS``.
    odds : float
        How much likelier than that all is as written.
    tone : float, Hz
        The most probable first resonance if it is so; NaN without one.
    """

    name: str
    odds: float
    tone: float


def fahrenheit(case: Case, read: Readings) -> Readings | None:
    """What was written as °C was shown in °F."""
    written = read.displayed - ICE_POINT
    meant = np.where(read.in_fahrenheit, written, (written - 32) / 1.8)
    if np.all(read.in_fahrenheit) or np.any(meant + ICE_POINT < COLDEST):
        return None
    return _shown(read, meant + ICE_POINT)


def celsius(case: Case, read: Readings) -> Readings | None:
    """What was written as °F was shown in °C."""
    written = read.displayed - ICE_POINT
    meant = np.where(read.in_fahrenheit, written * 1.8 + 32, written)
    if not np.any(read.in_fahrenheit) or np.any(meant + ICE_POINT > HOTTEST):
        return None
    return _shown(read, meant + ICE_POINT)


def inches(case: Case, read: Readings) -> Readings | None:
    """Positions in inches were read as millimetres."""
    place = read.position * INCH * 1e3
    return _placed(case, read, place) if float(place.max()) > 0 else None


def from_cap(case: Case, read: Readings) -> Readings | None:
    """Positions were measured from the cap."""
    return _placed(case, read, float(case.branch.length[0]) - read.position)


def wrong_end(case: Case, read: Readings) -> Readings | None:
    """The list of displays was begun at the other end than that of positions."""
    if len(read) < 2:
        return None
    order = np.argsort(read.position)
    shown = read.displayed.copy()
    shown[order] = read.displayed[order[::-1]]
    return _shown(read, shown)


def swapped(case: Case, read: Readings) -> Readings | None:
    """Positions and displays were written into each other's columns."""
    shown = read.position * 1e3 + ICE_POINT
    if np.any(shown > HOTTEST):
        return None
    moved = _placed(case, read, (read.displayed - ICE_POINT) / 1e3)
    return None if moved is None else _shown(moved, shown)


def bare_metal(case: Case, read: Readings) -> Readings | None:
    """What was called painted, or weathered, is bare bright metal."""
    dull = read.infrared & (read.emissivity > 2 * BARE_EMISSIVITY)
    if not np.any(dull):
        return None
    names = tuple("bare metal" if d else n for d, n in zip(dull, read.surface, strict=True))
    return replace(
        read,
        surface=names,
        emissivity=np.where(dull, BARE_EMISSIVITY, read.emissivity),
        emissivity_spread=np.where(dull, BARE_SPREAD, read.emissivity_spread),
    )


def _shown(read: Readings, shown: FloatArray) -> Readings:
    # A stated uncertainty stays what it is of the display.
    usual = np.isclose(read.uncertainty, usual_uncertainty(read.displayed))
    own = np.where(usual, usual_uncertainty(shown), read.uncertainty)
    return replace(read, displayed=shown, uncertainty=own)


def _placed(case: Case, read: Readings, place: FloatArray) -> Readings | None:
    length = float(case.branch.length[0])
    return None if np.any((place < 0) | (place > length)) else replace(read, position=place)


SLIPS: dict[str, Callable[[Case, Readings], Readings | None]] = {
    "fahrenheit": fahrenheit,
    "celsius": celsius,
    "inches": inches,
    "from_cap": from_cap,
    "swapped_columns": swapped,
    "wrong_end": wrong_end,
    "bare_metal": bare_metal,
}
"""From what was written to what would have been meant; None where it cannot be."""

WINDS = ("wind_in_front", "wind_behind")
"""Slips of the case, not of the list: half of the branch in the wind."""


def windy(read: Readings, length: float, *, front: bool) -> Altered:
    """What a wind on one half does to the skins at the readings and to the tone."""
    s = read.position / length
    behind = 1 / (1 + np.exp((0.5 - s) / EDGE))
    in_front, further = (WINDWARD, LEE) if front else (LEE, WINDWARD)
    skin = in_front + (further - in_front) * behind
    return Altered(skin, 1 - WIND_ON_TONE if front else 1 + WIND_ON_TONE)


def not_warm(problem: InverseProblem, ensemble: Ensemble) -> Rival | None:
    """That the branch was still warming, where nobody told the time.

    It is part of the fit, so that the answer allows for it; told where it is likely.
    """
    if len(problem) == 0 or problem.names[-1] != WARMTH:
        return None
    early = time_of(ensemble.white[:, -1]) < EARLY
    share = float(ensemble.weights @ early)
    odds = share / max(1 - share, 1e-9)
    if odds < LIKELY:
        return None
    tone = ensemble.weights[early] @ ensemble.frequency[early] / share
    return Rival("not_warm", odds, float(tone))


def weigh(problem: InverseProblem, mode: Mode, prior: PriorDraws) -> tuple[Rival, ...]:
    """The slips that are worth a question, likeliest first.

    Parameters
    ----------
    problem : InverseProblem
    mode : Mode
    prior : PriorDraws
        Both of the same problem.
    """
    if len(problem.readings) == 0 or problem.strain(mode) < STRAINED:
        return ()
    as_written = _log_evidence(problem, mode, problem.readings)
    least = problem.at_best(mode) - SPARE
    case, read = problem.case, problem.readings
    length = float(case.branch.length[0])
    tried: dict[str, tuple[Readings | None, Altered | None]] = {
        name: (slip(case, read), None) for name, slip in SLIPS.items()
    }
    for name in WINDS:
        tried[name] = (read, windy(read, length, front=name == WINDS[0]))
    found: list[Rival] = []
    for name, (meant, altered) in tried.items():
        if meant is None:
            continue
        try:
            other = problem.otherwise(meant, altered)
            starts = _starts(other, problem, mode, prior, least)
            best = other.mode(starts, ENOUGH, least=least)
        except (InputError, NotConvergedError):
            continue  # what cannot be is no explanation
        evidence = _log_evidence(other, best, read)
        odds = PRIOR_ODDS * float(np.exp(min(evidence - as_written, 50.0)))
        if odds >= LIKELY:
            found.append(Rival(name, odds, float(best.expected.frequency[0])))
    return tuple(sorted(found, key=lambda rival: -rival.odds))


def _starts(
    other: InverseProblem,
    problem: InverseProblem,
    mode: Mode,
    prior: PriorDraws,
    least: float,
) -> FloatArray:
    """The middle of the prior, what the model's unknowns are as written, and what draws tell."""
    size, model = len(other), len(problem.prior.names)
    starts = np.zeros((2, size + len(other.shared)))
    starts[1, :model] = mode.summit.white[:model]
    if not other.sees_again(problem):
        return starts
    seen = other.seen_again(prior.white, prior.expected)
    return np.concatenate([starts, prior.starts(other, seen, least=least)])


def _log_evidence(problem: InverseProblem, mode: Mode, written: Readings) -> float:
    """Logarithm of the probability density of what was written, but for what all share."""
    read = problem.readings
    scale = _steepness(read, written) / read.uncertainty
    return problem.laplace(mode) + float(np.sum(np.log(scale)))


def _steepness(read: Readings, written: Readings) -> FloatArray:
    """How much what was meant moves with what was written, (readings,)."""
    before, meant = written.displayed - ICE_POINT, read.displayed - ICE_POINT
    other = np.where(written.in_fahrenheit, before * 1.8 + 32, (before - 32) / 1.8)
    scales = np.where(written.in_fahrenheit, 1.8, 1 / 1.8)
    turned = np.isclose(meant, other)
    kept = np.isclose(meant, before)
    return np.where(turned, scales, 1.0) if np.all(turned | kept) else np.ones(len(read))
