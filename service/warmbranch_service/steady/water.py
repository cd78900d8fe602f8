"""The water that condenses, in a user's units."""

from __future__ import annotations

import numpy as np

from warmbranch.heat.vapour import latent_heat
from warmbranch.steady.answer import Answer
from warmbranch_service.case.convert import MM
from warmbranch_service.contract.rounding import digits, places
from warmbranch_service.steady.water_schema import CondensedWater

HOUR = 3600.0
"""s."""

WATER_DENSITY = 998.0
"""kg/m³, at 20 °C."""


def condensed(answer: Answer) -> CondensedWater | None:
    """Of the first design; None where its wall is nowhere colder than the gas's dew point."""
    wall = answer.profile.wall[0]
    if not np.any(wall < answer.dew_point[0]):  # never where the gas is dry: NaN
        return None
    branch, rate = answer.case.branch, answer.condensing[0]
    total = float(rate.sum())
    if total == 0:
        return None
    filled = total / WATER_DENSITY / float(branch.bore_area[0])
    return CondensedWater(
        rate_g_h=digits(total * 1e3 * HOUR, 3),
        from_position_mm=places(answer.profile.position[0, np.argmax(rate > 0)] / MM, 2),
        latent_heat_W=digits(float(rate @ latent_heat(wall)), 3),
        vapour_at_cap_percent=places(100 * answer.vapour[0, -1], 1),
        fills_mm_h=digits(filled * HOUR / MM, 3) if branch.rise[0] < 0 else None,
    )
