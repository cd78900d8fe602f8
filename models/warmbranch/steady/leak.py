"""What a pinhole in the cap costs in heat; what it costs in sound is in cautions.py."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.gas.gas import MixtureTable
from warmbranch.steady.answer import Answer
from warmbranch.steady.cautions import LEAK_DIAMETER

OVERPRESSURE = 1000.0
"""Pa. Mean pressure above ambient in the main pipe for which the leak is told: some silencer
behind it. Our assumption."""

DISCHARGE = 0.6
"""Flow through a sharp hole over that of its area and the ideal speed. Textbook value."""


def leak_flow(
    density: FloatArray, overpressure: float = OVERPRESSURE, diameter: float = LEAK_DIAMETER
) -> FloatArray:
    r"""Mass flow through a sharp round hole, kg/s.

    .. math:: \dot m = C\,\frac{\pi d^2}{4}\sqrt{2 \rho\, \Delta p}

    Parameters
    ----------
    density : array, kg/m³
        Of the gas that leaks.
    overpressure : float, Pa
    diameter : float, m

    Valid for
    ---------
    Overpressures far below ambient pressure.

    Check
    -----
    By hand: 1 mm, 1 kg/m³, 1 kPa: 0.6 × 0.7854 mm² × 44.72 m/s = 21.07 mg/s.

    >>> leak_flow(np.array([1.0])).round(8)
    array([2.107e-05])
    """
    ideal: FloatArray = np.sqrt(2 * density * overpressure)
    return DISCHARGE * np.pi / 4 * diameter**2 * ideal


def leak_heat(answer: Answer, overpressure: float = OVERPRESSURE) -> FloatArray:
    """Heat that the leaking gas carries from the mouth towards the cap, (designs,), W.

    At most: as if it arrived at the cap as hot as it entered. Beside the heat that the branch
    loses anyway, it tells whether a leak would warm the tail.
    """
    gas = MixtureTable.of(answer.case.gas)
    cap = answer.profile.gas[:, -1]
    flow = leak_flow(answer.duct.density[:, -1], overpressure)
    hot = answer.case.main_pipe.gas_temperature
    middle = ((hot + cap) / 2)[:, None]
    return flow * gas.evaluate(middle).heat_capacity[:, 0] * (hot - cap)
