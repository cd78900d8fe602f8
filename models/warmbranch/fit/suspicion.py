"""Readings and tones that look wrong, and why."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import ICE_POINT
from warmbranch.case.case import Case
from warmbranch.fit.ensemble import Ensemble
from warmbranch.fit.readings import Readings
from warmbranch.fit.thermometer import skin_from_infrared
from warmbranch.length.length_for_tone import with_length
from warmbranch.steady.solve import solve

MARGIN = 3.0
"""Uncertainties beyond which a display counts as hotter than the gas or below the air."""

MISFIT = 3.5
"""Uncertainties beyond which a reading counts as one that does not fit: of honest readings with
normal noise one in two thousand."""

SHINY = 0.5
"""Emissivity below which a skin mirrors more than it shows."""

SAME_SPOT = 0.01
"""m. Readings closer than this are of one spot."""

SAME_MOMENT = 30.0
"""s. Readings in time that are farther apart are of a spot that has warmed."""

CONTRADICTION = 4.0
"""Joint uncertainties between two readings of one spot."""

WHOLE_SPOT = 0.95
"""Part of the spot on the tube below which what is behind counts."""

PATCH_LIMITS = {"vinyl tape": 80.0 + ICE_POINT, "masking tape": 120.0 + ICE_POINT}
"""K. Above it a patch shrivels and lifts. Common practice, no source."""

FAR_OFF = 0.2
"""Of ln f between a tone heard and the prediction: an eighth of the way to the next resonance
and several times what any unknown does."""

FAR_OFF_SPREADS = 5.0
"""The same in spreads of the prediction, for predictions that are wide."""

NEAR = 0.12
"""Of ln f within which another resonance or order explains a tone."""


@dataclass(frozen=True)
class Suspicion:
    """One thing that looks wrong.

    Parameters
    ----------
    code : str
        Stable identifier.
    numbers : dict of str to float
        SI values for the sentence.
    """

    code: str
    numbers: dict[str, float] = field(default_factory=dict[str, float])


def suspicious_readings(
    case: Case, readings: Readings, expected: FloatArray, hottest: float = -np.inf
) -> tuple[tuple[Suspicion, ...], ...]:
    """What looks wrong with each reading.

    Parameters
    ----------
    case : Case
        One design.
    readings : Readings
    expected : (readings,) array, K
        What the fitted model would show.
    hottest : float, K
        What the main pipe's gas was at most, where that is more than when running.
    """
    found: list[list[Suspicion]] = [[] for _ in range(len(readings))]
    gas = max(float(case.main_pipe.gas_temperature[0]), hottest)
    air = float(case.surroundings.air_temperature[0])
    residual = readings.displayed - expected
    skin = _plain_skins(case, readings)
    for i, own in enumerate(found):
        shown, sigma = float(readings.displayed[i]), float(readings.uncertainty[i])
        if shown > max(gas, air) + MARGIN * sigma:
            own.append(Suspicion("hotter_than_gas", {"gas_temperature": gas}))
        if shown < min(gas, air) - MARGIN * sigma:
            own.append(Suspicion("below_air", {"air_temperature": air}))
        limit = PATCH_LIMITS.get(readings.surface[i])
        if limit is not None and shown > limit:
            own.append(Suspicion("patch_too_hot", {"limit": limit}))
        if readings.infrared[i] and readings.emissivity[i] < SHINY:
            numbers = {"emissivity": float(readings.emissivity[i]), "skin": float(skin[i])}
            own.append(Suspicion("bare_shiny_metal", numbers))
        if readings.infrared[i] and readings.share[i] < WHOLE_SPOT:
            own.append(Suspicion("spot_misses", {"share": float(readings.share[i])}))
        if abs(residual[i]) > MISFIT * sigma:
            own.append(Suspicion("does_not_fit", {"residual": float(residual[i])}))
        for j in range(len(readings)):
            near = abs(readings.position[i] - readings.position[j]) <= SAME_SPOT
            # A spot warms meanwhile; whether both agree is then for each one's misfit to tell.
            near = near and not (abs(readings.time[i] - readings.time[j]) > SAME_MOMENT)
            joint = float(np.hypot(sigma, readings.uncertainty[j]))
            apart = float(residual[i] - residual[j])
            if j != i and near and abs(apart) > CONTRADICTION * joint:
                own.append(Suspicion("contradicts", {"other": float(j), "difference": apart}))
    return tuple(tuple(own) for own in found)


def _plain_skins(case: Case, readings: Readings) -> FloatArray:
    """Skins that explain the readings with the emissivities as first believed, K."""
    radiant = float(case.surroundings.radiant_temperature[0])
    around = np.full(len(readings), radiant)
    seen = skin_from_infrared(
        readings.displayed,
        readings.emissivity,
        readings.emissivity_set,
        np.where(np.isnan(readings.reflected), around, readings.reflected),
        readings.reflected_set,
        readings.share,
        around,
    )
    return np.where(readings.infrared, seen, readings.displayed)


def suspicious_tone(
    case: Case,
    frequency: float,
    length: float,
    predicted: FloatArray,
    ensemble: Ensemble,
    order: float | None,
    order_step: float,
) -> Suspicion | None:
    """Whether a tone heard can be the first resonance, and what else it may be.

    Parameters
    ----------
    case : Case
        One design, before any reading.
    frequency, length : float; Hz, m
        Of the tone and of the build it was heard with.
    predicted : (draws,) array, Hz
        First resonance of that build, for the draws of ``ensemble``.
    ensemble : Ensemble
        Before any reading.
    order : float or None
        Engine order by which the tone was reckoned from an engine speed.
    order_step : float
        Orders that this engine can have are multiples of it.

    Returns
    -------
    Suspicion or None
        With ``resonance`` where the tone is near a higher one, ``order`` where another engine
        order would bring it to the first one.
    """
    known = ~np.isnan(predicted)
    if not np.any(known):
        return None
    logs, weights = np.log(predicted[known]), ensemble.weights[known]
    middle = float(weights @ logs / np.sum(weights))
    spread = float(np.sqrt(weights @ (logs - middle) ** 2 / np.sum(weights)))
    off = float(np.log(frequency)) - middle
    if abs(off) <= max(FAR_OFF, FAR_OFF_SPREADS * spread):
        return None
    numbers = {"predicted": float(np.exp(middle)), "ratio": float(np.exp(off))}
    own = solve(with_length(case, np.array([length]))).resonance[0]
    for mode in (2, 3):
        if abs(np.log(frequency / own[mode - 1])) < NEAR:  # never true for NaN
            numbers["resonance"] = float(mode)
    if order is not None:
        # The tone is order × speed: with the right order it lands on the prediction.
        other = order_step * round(order / np.exp(off) / order_step)
        if other > 0 and other != order and abs(np.log(other / order) + off) < NEAR:
            numbers["order"] = float(other)
    return Suspicion("overtone_or_wrong_order", numbers)
