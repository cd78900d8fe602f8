"""In which air the readings are taken to be, and what an answer says of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.case import case as physics
from warmbranch.fit.readings import Readings
from warmbranch.fit.standing import DECIDED, STILL, Standing, calm, wind
from warmbranch_service.case.convert_batch import PER_HOUR, kelvin
from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.rounding import digits
from warmbranch_service.fit import read_standing
from warmbranch_service.fit.request import FitRequest
from warmbranch_service.fit.untold_schema import MOST_ODDS, ReadIdling, ReadStanding


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
    standing : Standing or None
        What the fit makes of it where nobody told.
    idling : float
        Chance of an engine at idle, where nobody told.
    """

    request: FitRequest
    given: physics.Case
    read: physics.Case | None
    readings: Readings
    standing: Standing | None
    idling: float

    @property
    def _settled(self) -> bool:
        """Whether anything was read of the settled branch."""
        return bool(np.any(~self.readings.timed))

    @property
    def _asks(self) -> bool:
        """Whether the case is windy, and nobody told where somebody could have."""
        all_settled = self._settled and not np.any(self.readings.timed)
        return self.read is None and all_settled and calm(self.given) is not None

    @property
    def _decided(self) -> bool:
        """Whether the readings leave no doubt that they are of the case's air."""
        return self.standing is not None and self.standing.chance < DECIDED

    @property
    def _wind(self) -> float:
        """Air of the case where it is fastest, m/s."""
        return wind(self.given)

    def answer(self) -> ReadStanding | None:
        """What the fit weighed, for the answer."""
        if self.standing is None:
            return None
        odds = digits(min(max(self.standing.odds, 1 / MOST_ODDS), MOST_ODDS), 2)
        return ReadStanding(
            question=read_standing.QUESTION,
            odds=odds,
            chance=round(self.standing.chance, 2),
            message=read_standing.message(odds, self._wind),
        )

    def idle(self) -> ReadIdling | None:
        """The same of an engine at idle, where that is likely enough to ask."""
        if self.idling < read_standing.ASKED:
            return None
        return ReadIdling(
            question=read_standing.IDLING,
            chance=round(self.idling, 2),
            message=read_standing.idling_message(self.idling),
        )

    def sentences(self) -> list[str]:
        """The same for the summary."""
        weighed, idle = self.answer(), self.idle()
        return [
            *(
                []
                if weighed is None or self._decided
                else [read_standing.told(weighed.odds, self._wind)]
            ),
            *([] if idle is None else [read_standing.idled(idle.chance)]),
        ]

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
        """That the readings may be of another state than the case's, and nobody told."""
        idle = self.idle()
        found = [] if idle is None else [_at_idle(idle.message)]
        return [*found, *self._in_the_wind()]

    def _in_the_wind(self) -> list[Caution]:
        """That the case is windy, and nobody told whether it was read so."""
        if not self._asks or self._decided:
            return []
        both = "" if self.standing is None else " Both are weighed here."
        text = (
            f"The case's air moves at {self._wind:.2g} m/s, and nobody told whether the readings "
            "were taken in it. By hand they are mostly taken standing still, where the skin is "
            f"hotter: taken for readings in that air they make the tone too high.{both} Give "
            f"while_read.air_speed_m_s: {STILL:g} for a car that stood still, or the case's "
            "own."
        )
        return [Caution(code="read_in_the_wind", message=text, field=self._windy_field())]

    def _windy_field(self) -> str:
        """What tells of the wind."""
        outside = self.request.case.surroundings
        name = "air_speed_m_s"
        if self._wind > float(self.given.surroundings.air_speed[0]):
            name = "rear.air_speed_m_s"
        elif outside.place is not None and name not in outside.model_fields_set:
            name = "place"
        return f"case.surroundings.{name}"


def _at_idle(message: str) -> Caution:
    field = "case.main_pipe.gas_temperature_degC"
    return Caution(code="read_at_idle", message=message, field=field)
