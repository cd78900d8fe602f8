"""In which air the readings are taken to be, and what an answer says of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from warmbranch.case import case as physics
from warmbranch.fit.readings import Readings
from warmbranch_service.case.convert_batch import PER_HOUR, kelvin
from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.rounding import digits
from warmbranch_service.fit import read_standing
from warmbranch_service.fit.request import FitRequest
from warmbranch_service.fit.untold_schema import MOST_ODDS, ReadStanding
from warmbranch_service.fit.while_read import STANDING_M_S

WINDY_M_S = 2.0
"""Air of the case from which it makes a difference that nobody told how it was read."""


class _Standing(Protocol):
    @property
    def odds(self) -> float: ...
    @property
    def mixed(self) -> bool: ...


@dataclass(frozen=True)
class AirAsRead:
    """What is known of the state in which the readings were taken.

    Parameters
    ----------
    request : FitRequest
    given : Case
        As it drones.
    read : Case or None
        As it was read; None where nobody told.
    readings : Readings
    standing : optional
        What the fit makes of it where nobody told.
    """

    request: FitRequest
    given: physics.Case
    read: physics.Case | None
    readings: Readings
    standing: _Standing | None

    @property
    def _settled(self) -> bool:
        """Whether anything was read of the settled branch."""
        return bool(np.any(~self.readings.timed))

    @property
    def _wind(self) -> float:
        """Air of the case, m/s."""
        return float(self.given.surroundings.air_speed[0])

    def answer(self) -> ReadStanding | None:
        """What the fit weighed, for the answer."""
        if self.standing is None:
            return None
        odds = digits(min(max(self.standing.odds, 1 / MOST_ODDS), MOST_ODDS), 2)
        mixed = self.standing.mixed
        return ReadStanding(
            question=read_standing.QUESTION,
            odds=odds,
            mixed=mixed,
            message=read_standing.message(odds, self._wind, mixed=mixed),
        )

    def assumptions(self) -> list[str]:
        """In which air the readings are taken to be."""
        if not self._settled:
            return []
        state = self.given if self.read is None else self.read
        air = float(state.surroundings.air_temperature[0]) - kelvin(0.0)
        speed = digits(float(state.surroundings.air_speed[0]), 3)
        around = f"air of {air:.0f} °C that moves at {speed:g} m/s"
        if self.read is not None:
            gas = float(state.main_pipe.gas_temperature[0]) - kelvin(0.0)
            flow = digits(float(state.main_pipe.mass_flow[0]) / PER_HOUR, 3)
            return [
                f"The readings are of the branch in {around}, with main gas of {gas:.0f} °C at "
                f"{flow:g} kg/h, as while_read has it; the prediction, what was heard and the "
                "target are of the case."
            ]
        if self.standing is not None:
            return [
                f"Nobody told how it was while the readings were taken: as in the case, in "
                f"{around}, or standing still. What was read and heard decides how much each "
                "counts."
            ]
        return [f"The readings are taken to be of the branch as the case has it, in {around}."]

    def cautions(self) -> list[Caution]:
        """That the case is windy, and nobody told whether it was read so."""
        if self.read is not None or self._wind < WINDY_M_S or not self._settled:
            return []
        both = "" if self.standing is None else " Both are weighed here."
        text = (
            f"The case's air moves at {self._wind:.2g} m/s, and nobody told whether the readings "
            "were taken in it. By hand they are mostly taken standing still, where the skin is "
            f"hotter: taken for readings in that air they make the tone too high.{both} Give "
            f"while_read.air_speed_m_s: {STANDING_M_S:g} for a car that stood still, or the case's "
            "own."
        )
        outside = self.request.case.surroundings
        by_place = outside.place is not None and "air_speed_m_s" not in outside.model_fields_set
        field = f"case.surroundings.{'place' if by_place else 'air_speed_m_s'}"
        return [Caution(code="read_in_the_wind", message=text, field=field)]
