"""A case in the words of physics, with all that was made of it on the way."""

from __future__ import annotations

from dataclasses import dataclass, field

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.shop import Shop
from warmbranch.case import case as physics
from warmbranch_service.case.main_gas import Inferred
from warmbranch_service.contract.caution import Caution


@dataclass(frozen=True)
class Converted:
    """A case in SI, the engine order, and what was taken for what the request left open.

    ``inferred`` is the gas temperature where the request left it to be worked out. ``case`` has the
    means of a calibration where there is one, ``given`` is without them. ``shop`` is what finished
    jobs taught, where the calibration is of that kind; ``calibration`` is then what it makes of
    this case.
    """

    case: physics.Case
    given: physics.Case
    calibration: Calibration | None
    order: float | None
    inferred: Inferred | None = None
    shop: Shop | None = None
    assumptions: list[str] = field(default_factory=list[str])
    cautions: list[Caution] = field(default_factory=list[Caution])
