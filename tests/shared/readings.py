"""Readings: to put into a request, and as the physics takes them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.fit.readings import KNOWN, Readings

Body = dict[str, Any]


def infrared(position: float, shown: float, **more: Any) -> Body:
    plain = {"thermometer": "infrared", "surface": "matt black paint"}
    return {"position_mm": position, "displayed_degC": shown, **plain, **more}


def contact(position: float, shown: float, **more: Any) -> Body:
    return {"position_mm": position, "displayed_degC": shown, "thermometer": "contact", **more}


def contacts(
    position: Sequence[float] | FloatArray,
    shown: Sequence[float] | FloatArray,
    uncertainty: float = 2.0,
) -> Readings:
    """Of a thermometer that touches: m, and K shown."""
    one = np.ones(len(position))
    return Readings(
        position=np.array(position),
        displayed=np.array(shown),
        uncertainty=uncertainty * one,
        infrared=np.zeros(len(one), dtype=np.bool_),
        surface=(KNOWN,) * len(one),
        emissivity=one,
        emissivity_spread=0 * one,
        emissivity_set=one,
        reflected=np.nan * one,
        reflected_set=np.nan * one,
        share=one,
        time=np.nan * one,
    )
