"""The first resonance and the temperatures with their uncertainty, from a calibration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.interpolation import interpolated
from warmbranch.belief.calibration import ENSEMBLE, Calibration
from warmbranch.belief.draws import quantiles
from warmbranch.belief.forecast import Forecaster
from warmbranch.belief.parabolas import COARSE_NODES, Parabolas
from warmbranch.case.case import Case
from warmbranch.steady.solve import solve

LEVELS = np.array([0.05, 0.25, 0.5, 0.75, 0.95])
"""Ends of the 90 % and 50 % intervals, and the median."""

NOWHERE = np.empty(0)

TOGETHER = 64
"""Designs whose parabolas are solved in one call: some 2,000 coarse ones."""


@dataclass(frozen=True)
class Predicted:
    """What a calibration predicts of one branch, each at ``LEVELS``.

    Parameters
    ----------
    resonance : (levels,) array, Hz
        The first; empty where no draw has one.
    gas, skin : (levels, positions) array, K
        Each position by itself: along one level runs no branch that was drawn.
    """

    resonance: FloatArray
    gas: FloatArray
    skin: FloatArray


@dataclass(frozen=True)
class ExpectedResonance:
    """What a prior makes of the first resonance, and which unknown it hangs on.

    Parameters
    ----------
    resonance : (levels,) array, Hz
        At ``LEVELS``; empty where the case has no resonance.
    names : tuple of str
        Unknowns, keys of ``UNKNOWNS``, the one that narrows it most first.
    shares : (unknowns,) array
        Of the variance that would go if that one were known, to first order.
    """

    resonance: FloatArray
    names: tuple[str, ...]
    shares: FloatArray


def expect(case: Case, calibration: Calibration) -> ExpectedResonance:
    """First resonance at ``LEVELS``, quickly: by parabolas along what is uncertain.

    Parameters
    ----------
    case : Case
        One design, as the user gives it: not yet with the calibration's means.
    calibration : Calibration

    Valid for
    ---------
    Unknowns that act on ln f not much more than quadratically. Against a solution for every draw
    over the box, in tests/models/belief/test_prediction.py.
    """
    return expect_each(case, [calibration])[0]


def expect_each(cases: Case, calibrations: Sequence[Calibration]) -> list[ExpectedResonance]:
    """As :func:`expect`, of many designs in few solutions: the same answers, sooner.

    Parameters
    ----------
    cases : Case
    calibrations : sequence of Calibration
        One a design.

    Raises
    ------
    NotConvergedError
        If one of them, somewhere in what is believed of it, has no solution.
    """
    there = [
        Parabolas.around(cases.take(np.array([i])), calibration, pairs=False)
        for i, calibration in enumerate(calibrations)
    ]
    found: list[ExpectedResonance] = []
    for begin in range(0, len(there), TOGETHER):
        own = there[begin : begin + TOGETHER]
        answer = solve(Case.concatenate([one.cases for one in own]), nodes=COARSE_NODES, modes=1)
        ends = np.cumsum([len(one.cases) for one in own])[:-1]
        tones = np.split(answer.resonance[:, 0], ends)
        times = np.split(answer.transit_time, ends)
        found += [_expected(*one) for one in zip(own, tones, times, strict=True)]
    return found


def _expected(there: Parabolas, first: FloatArray, transit_time: FloatArray) -> ExpectedResonance:
    if np.isnan(first[0]):
        return ExpectedResonance(NOWHERE, (), NOWHERE)
    # Where losses leave no resonance, the transit time still tells which way it would move.
    by_time: FloatArray = transit_time / transit_time[0]
    response: FloatArray = np.log(np.where(np.isnan(first), by_time, first / first[0]))
    drawn = first[0] * np.exp(there.draws(response))
    shares = there.shares(response)
    told = sorted(zip(there.believed.names, shares.tolist(), strict=True), key=lambda one: -one[1])
    return ExpectedResonance(
        _levels(drawn[:, None])[:, 0],
        tuple(name for name, _ in told),
        np.array([share for _, share in told]),
    )


def predict(
    case: Case, calibration: Calibration, position: FloatArray = NOWHERE, size: int = ENSEMBLE
) -> Predicted:
    """First resonance and temperatures at ``LEVELS``.

    Parameters
    ----------
    case : Case
        One design, as the user gives it: not yet with the calibration's means.
    calibration : Calibration
    position : (positions,) array, m
        From the mouth; where the temperatures are wanted.
    size : int
        Draws.

    Returns
    -------
    Predicted
        From the coarser grid of a fit: the resonance within 2e-4, the skin within 1 K near a
        hot mouth (``forecast.FIT_NODES``).
    """
    own = calibration.effective_in(case)
    forecast = Forecaster(case, own.names, case.branch.length).at(own.draws(size))
    along = forecast.profile.position
    return Predicted(
        _levels(forecast.frequency[:, None])[:, 0],
        _levels(interpolated(along, forecast.profile.gas, position)),
        _levels(interpolated(along, forecast.profile.skin, position)),
    )


def _levels(drawn: FloatArray) -> FloatArray:
    """(levels, n) of (draws, n), without the draws that have no solution; (0, n) if none has."""
    known = drawn[~np.any(np.isnan(drawn), axis=1)]
    if len(known) == 0:
        return np.empty((0, drawn.shape[1]))
    weights = np.full(len(known), 1 / len(known))
    columns = [quantiles(column, weights, LEVELS) for column in known.T]
    return np.array(columns).reshape(-1, len(LEVELS)).T
