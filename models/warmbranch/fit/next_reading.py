"""Which reading to take next: the one that most narrows the resonance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.interpolation import interpolated
from warmbranch.fit.ensemble import Ensemble
from warmbranch.fit.readings import usual_uncertainty

CANDIDATES = 16
FIRST, LAST = 0.04, 0.98
"""Places offered, over the length: off the weld at the mouth, and short of the cap's."""

LISTENING_UNCERTAINTY = 0.01
"""Standard deviation of a tone heard, relative: by ear a quiet rpm of 2000 is found to some
20 rpm. Common practice, no source."""


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


def advise(ensemble: Ensemble, length: float) -> Advice:
    r"""Judge possible readings by the draws of a fit.

    .. math:: \frac{\mathrm{cov}(\ln f, T)^2}{\mathrm{var}(\ln f)\,[\mathrm{var}(T) + \sigma^2]}

    Parameters
    ----------
    ensemble : Ensemble
    length : float, m

    Returns
    -------
    Advice

    Valid for
    ---------
    A linear estimate of ln f from the new reading, exact for normal distributions.

    Check
    -----
    Against fits with the reading added: tests/models/test_next_reading.py.
    """
    places = np.linspace(FIRST, LAST, CANDIDATES) * length
    skin = interpolated(ensemble.position, ensemble.skin, places)
    weights, tone = ensemble.weights, np.log(ensemble.frequency)
    tone = tone - weights @ tone
    variance = float(weights @ tone**2)
    middle = weights @ skin
    away = skin - middle
    noise = usual_uncertainty(middle) ** 2
    if variance <= 0:  # nothing is unknown
        return Advice(places, np.zeros(CANDIDATES), 0.0)
    shared = (weights * tone) @ away
    by_reading = shared**2 / (variance * (weights @ away**2 + noise))
    return Advice(
        position=places,
        by_reading=by_reading,
        by_listening=variance / (variance + LISTENING_UNCERTAINTY**2),
    )
