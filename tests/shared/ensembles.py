"""Many equally likely cases, each solved: what the product's short cuts are held to."""

from __future__ import annotations

import numpy as np

from warmbranch.belief.calibration import ENSEMBLE, Calibration, calibrated_ensemble
from warmbranch.belief.parabolas import COARSE_NODES
from warmbranch.belief.unknown import Spreads
from warmbranch.case.case import Case
from warmbranch.length.build_long import RightLengths
from warmbranch.length.length_for_tone import bounds, frozen_slope, with_length
from warmbranch.steady.solve import solve


def prior_ensemble(
    case: Case, size: int = ENSEMBLE, spreads: Spreads | None = None, seed: int = 0
) -> Case:
    """Equally likely cases before any reading.

    Parameters
    ----------
    case : Case
        One design.
    size : int
    spreads : Spreads, optional
        Prior widths of what belongs to the case: air, gas and emissivity.
    seed : int
        Equal seeds give equal draws, whatever the case: compare designs draw by draw.

    Returns
    -------
    Case
        ``size`` designs.
    """
    return calibrated_ensemble(case, Calibration.prior(case, spreads), size, seed)


def right_lengths(
    ensemble: Case, length: float, frequency: float, *, nodes: int = COARSE_NODES
) -> RightLengths:
    """Length that each member of an ensemble wants for a tone.

    Parameters
    ----------
    ensemble : Case
        The same branch with closures drawn from what is known of them.
    length : float, m
        Right for the middle of them.
    frequency : float, Hz
    nodes : int

    Returns
    -------
    RightLengths

    Valid for
    ---------
    As the ensemble is: what it does not vary is taken as certain.

    Check
    -----
    Against a full search for each member, in tests/models/length/test_build_long.py.

    Notes
    -----
    Two solutions for each member: at ``length``, and where the slope there leads. The secant
    through both leaves some hundredths of a millimetre.
    """
    low, high = bounds(ensemble)
    first = np.clip(np.full(len(ensemble), length), low, high)
    answer = solve(with_length(ensemble, first), nodes=nodes, modes=1)
    heard = answer.resonance[:, 0]
    offset = np.log(heard / frequency)
    deaf = np.isnan(heard)
    slope = frozen_slope(answer, np.where(deaf, answer.transit_time, heard))
    second = np.clip(first * np.exp(np.where(deaf, 0.0, -offset / slope)), low, high)
    again = solve(with_length(ensemble, second), nodes=nodes, modes=1).resonance[:, 0]
    rest = np.log(again / frequency)
    with np.errstate(divide="ignore", invalid="ignore"):
        secant = (rest - offset) / np.log(second / first)
    slope = np.where(np.isfinite(secant), secant, slope)
    final = second * np.exp(-rest / slope)
    final = np.where(np.isnan(final) | (final > high), np.inf, np.maximum(final, low))
    return RightLengths(np.sort(final))
