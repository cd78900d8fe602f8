"""Water that condenses along a branch: how much and where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import Batched, FloatArray
from warmbranch.gas.gas import SPECIES, MixtureTable, dry_air_table
from warmbranch.heat.vapour import WATER_MOLAR_MASS
from warmbranch.steady.answer import Answer
from warmbranch.steady.interplay import balance_of


@dataclass(frozen=True)
class Condensate(Batched):
    """Water along each branch.

    Parameters
    ----------
    rate : (designs, nodes) array, kg/s
        That condenses on the wall of each node's control volume; the last with the cap.
    vapour : (designs, nodes) array
        Mole fraction of water that is left in the gas.
    entering : (designs,) array, kg/s
        Through the mouth.
    """

    rate: FloatArray
    vapour: FloatArray
    entering: FloatArray


def condensate(answer: Answer) -> Condensate:
    """What condenses in the steady state, of which the answer's temperatures know.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    Condensate

    Valid for
    ---------
    As :func:`warmbranch.heat.vapour.in_balance`: within a factor of some 1.5.

    Check
    -----
    Vapour that enters is what condenses. tests/models/steady/test_condensate.py.
    """
    case, profile = answer.case, answer.profile
    main, duct = answer.main_impedance, answer.duct
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    balance = balance_of(case, gas, air, answer.main_speed, profile, main, duct, answer.tone)
    found = balance.condensing(profile.gas, profile.wall, dried=profile.dried)
    whole = case.gas.mole_fractions[:, SPECIES.index("H2O")][:, None]
    if found is None:
        none = np.zeros_like(profile.gas)
        return Condensate(none, none + whole, none[:, 0])
    left = whole - found.dried * (1 - whole)
    return Condensate(WATER_MOLAR_MASS * found.rate, left, WATER_MOLAR_MASS * found.entering)
