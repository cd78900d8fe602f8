"""What resists at the mouth: the flow that grazes it, and the tone's own motion.

Resistances are those of the branch's section over ρ c of the main pipe's gas. They bound how much
of the tone a branch can keep back, where what its wall takes does not; they do not move the tone.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray

QUADRATIC = 4 / (3 * np.pi)
"""First harmonic of ½ u|u| over û u, u = û sin: what a quadratic loss is to a tone. Exact."""


class MouthLoss(NamedTuple):
    """What resists at the mouth, each dimensionless, over ρ c of the main pipe's gas.

    Parameters
    ----------
    by_flow, by_level : array
    """

    by_flow: FloatArray
    by_level: FloatArray

    @property
    def all(self) -> FloatArray:
        """Both together."""
        return self.by_flow + self.by_level


def mouth_velocity(
    *,
    flow_loss: FloatArray,
    level_loss: FloatArray,
    mach: FloatArray,
    sound_speed: FloatArray,
    characteristic: FloatArray,
    cap_pressure: FloatArray,
    incident_pressure: FloatArray,
    area_ratio: FloatArray,
    wall: FloatArray | float,
) -> FloatArray:
    """Amplitude of the gas's velocity at the mouth at the branch's own tone, m/s.

    As of a lossless quarter wave with ``cap_pressure`` at its cap, or, where the pressure that
    arrives is known, in balance with what resists: see :func:`mouth_loss`, whose arguments it has.
    """
    # 2b u² + (2 z₀ + s) u = 2 p/ρc: the positive root, in the form that b = 0 does not divide.
    per_velocity = QUADRATIC * level_loss / sound_speed
    rest = 2 * (wall + flow_loss * mach) + area_ratio
    arriving = incident_pressure / characteristic
    driven = 4 * arriving / (rest + np.sqrt(np.square(rest) + 16 * per_velocity * arriving))
    return np.where(incident_pressure > 0, driven, cap_pressure / characteristic)


def mouth_loss(
    *,
    flow_loss: FloatArray,
    level_loss: FloatArray,
    mach: FloatArray,
    sound_speed: FloatArray,
    characteristic: FloatArray,
    cap_pressure: FloatArray,
    incident_pressure: FloatArray,
    area_ratio: FloatArray,
    wall: FloatArray,
) -> MouthLoss:
    r"""Resistance of the mouth at the branch's own tone.

    .. math:: z = k_f M + \frac{4}{3\pi} K \frac{u'}{c}

    with :math:`u' = p_{cap}/\rho c`, as of a lossless quarter wave, or, where the pressure that
    arrives is known, :math:`u' \rho c\,(2 z_{wall} + 2 z + S_b/S) = 2 p_{in}`, solved for u'.

    Parameters
    ----------
    flow_loss, level_loss : array, dimensionless
        ``k_f``, ``K``. All arguments broadcast.
    mach : array, dimensionless
        Of the main pipe's flow.
    sound_speed, characteristic : array; m/s, Pa s/m
        c and ρ c of the main pipe's gas.
    cap_pressure, incident_pressure : array, Pa
        Amplitudes; the former is not looked at where the latter is above 0.
    area_ratio : array, dimensionless
        Section of the branch's bore at the mouth over the main pipe's.
    wall : array, dimensionless
        Resistance by wall losses at the mouth, over ρ c.

    Returns
    -------
    MouthLoss

    Valid for
    ---------
    Tones slow against the flow, ``f d/U`` below some 0.2, and away from whistling; above, the flow
    resists less than told. Mouths that move gas back and forth by less than their bore add less
    than the quadratic part. Beside the flow's the level's part is an upper bound.

    Check
    -----
    The quadratic part against its own time average, and the balance above; tests/models/sound.

    Source
    ------
    See ``FLOW_LOSS`` and ``LEVEL_LOSS`` in closures.py.
    """
    velocity = mouth_velocity(
        flow_loss=flow_loss,
        level_loss=level_loss,
        mach=mach,
        sound_speed=sound_speed,
        characteristic=characteristic,
        cap_pressure=cap_pressure,
        incident_pressure=incident_pressure,
        area_ratio=area_ratio,
        wall=wall,
    )
    return MouthLoss(flow_loss * mach, QUADRATIC * level_loss / sound_speed * velocity)
