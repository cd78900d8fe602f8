"""Quantities that requests of several questions hold."""

from __future__ import annotations

from typing import Annotated

from warmbranch_service.contract.fields import Quantity
from warmbranch_service.contract.units import FREQUENCY, ROTATION

Rotation = Annotated[float, Quantity("rpm", ROTATION, low=50, high=30000)]
Frequency = Annotated[float, Quantity("Hz", FREQUENCY, low=1, high=2000)]
