"""Which reading to take next: the one that most narrows the resonance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import ICE_POINT
from warmbranch.base.interpolation import interpolated
from warmbranch.fit.ensemble import Ensemble
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.readings import usual_uncertainty
from warmbranch.fit.shared import PATTERN, THERMOMETER

CANDIDATES = 16
FIRST, LAST = 0.04, 0.98
"""Places offered, over the length: off the weld at the mouth, and short of the cap's."""

LISTENING_UNCERTAINTY = 0.01
"""Standard deviation of one hearing, relative and by itself: by ear a quiet rpm of 2000 is found to
some 20 rpm. Common practice, no source. What the ear is off by every time comes on top."""


@dataclass(frozen=True)
class Advice:
    """What each possible reading would remove of the variance of ln(first resonance).

    Parameters
    ----------
    position : (candidates,) array, m
    by_reading : (candidates,) array, dimensionless
        Share removed by one reading of the skin there, on a patch of known emissivity or by
        contact.
    by_listening : float, dimensionless
        Share removed by listening for the quiet rpm.
    """

    position: FloatArray
    by_reading: FloatArray
    by_listening: float

    @property
    def best(self) -> int:
        """Index of the best place."""
        return int(np.argmax(self.by_reading))

    @property
    def listen(self) -> bool:
        """Whether listening is better than any reading."""
        return self.by_listening > float(self.by_reading[self.best])


def advise(problem: InverseProblem, ensemble: Ensemble) -> Advice:
    r"""Judge possible readings by the draws of a fit.

    .. math:: \frac{\mathrm{cov}(\ln f, T)^2}{\mathrm{var}(\ln f)\,[\mathrm{var}(T) + \sigma^2]}

    A new reading's own error is its instrument's, with the scale that it shares with others and
    the skin's smooth departure; a new tone comes by the same ear as those already heard.

    Parameters
    ----------
    problem : InverseProblem
    ensemble : Ensemble
        Of its unknowns.

    Returns
    -------
    Advice

    Valid for
    ---------
    A linear estimate of ln f from the new reading, exact for normal distributions.

    Check
    -----
    Against fits with the reading added: tests/models/fit/test_next_reading.py.
    """
    length = float(problem.case.branch.length[0])
    places = np.linspace(FIRST, LAST, CANDIDATES) * length
    skin = interpolated(ensemble.position, ensemble.skin, places)
    weights, tone = ensemble.weights, np.log(ensemble.frequency)
    tone = tone - weights @ tone
    variance = float(weights @ tone**2)
    middle = weights @ skin
    away = skin - middle
    air = float(problem.state.surroundings.air_temperature[0])
    noise = usual_uncertainty(middle) ** 2
    noise += (THERMOMETER * (middle - ICE_POINT)) ** 2 + (PATTERN * (middle - air)) ** 2
    if variance <= 0:  # nothing is unknown
        return Advice(places, np.zeros(CANDIDATES), 0.0)
    shared = (weights * tone) @ away
    by_reading = shared**2 / (variance * (weights @ away**2 + noise))
    return Advice(
        position=places,
        by_reading=by_reading,
        by_listening=_by_listening(problem, ensemble, tone),
    )


def _by_listening(problem: InverseProblem, ensemble: Ensemble, tone: FloatArray) -> float:
    """Share of the variance of ``tone``, whose mean is 0, that one more hearing removes."""
    weights = ensemble.weights
    ear, ear_weights = problem.ear(ensemble.shared, np.arange(len(weights)))
    own = np.sum(ear * ear_weights, axis=1)
    within = np.sum(ear_weights * (ear - own[:, None]) ** 2, axis=1)
    perceived = tone + own - weights @ own
    noise = weights @ within + LISTENING_UNCERTAINTY**2
    shared = float(weights @ (tone * perceived))
    return shared**2 / float((weights @ tone**2) * (weights @ perceived**2 + noise))
