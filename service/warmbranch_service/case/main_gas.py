"""The main gas temperature of a case that does not give it: from the main pipe's skin, or from
what the engine does. The case is settled before it is converted; what was inferred is told."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from warmbranch.belief.unknown import GAS_TEMPERATURE_SPREAD, NORMAL_95
from warmbranch.case.surfaces import SURFACES, SurfaceRecord
from warmbranch.fit.main_gas import MainGas, SkinReading, from_load, from_skin
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.main_pipe_gas import Flow
from warmbranch_service.case.convert_batch import flow_by_engine, kelvin, to_batch
from warmbranch_service.case.schema import ASSUMED_GAS_SPEED_M_S, HOTTEST_GAS_DEGC, Case, MainPipe
from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.errors import INVALID, Entry, Problem

ANY_GAS_DEGC = 300.0
"""Stands in the case while its gas is sought; nothing depends on it."""

UNSURE = 2.0
"""Times the spread of a gas temperature that is given, from which on a caution tells of it."""

READING = ("case", "main_pipe", "skin_reading", "displayed_degC")


@dataclass(frozen=True)
class Inferred:
    """A gas temperature that the case did not give.

    Parameters
    ----------
    gas : MainGas
    air : float, K
    load : str, optional
        What the engine does; None where a skin reading told.
    """

    gas: MainGas
    air: float
    load: str | None

    @property
    def gas_temperature_degC(self) -> float:
        """Middle of what is believed."""
        return self.gas.temperature - kelvin(0.0)

    @property
    def interval_90_degC(self) -> tuple[float, float]:
        """Range that holds 90 %."""
        low, high = self.gas.interval_90(self.air)
        return low - kelvin(0.0), high - kelvin(0.0)

    @property
    def source(self) -> Literal["skin reading", "engine load"]:
        """As the answer names it."""
        return "skin reading" if self.load is None else "engine load"

    def sentence(self) -> str:
        """What was inferred, how sure it is, and from what."""
        low, high = self.interval_90_degC
        said = (
            f"The main gas is taken to be at {self.gas_temperature_degC:.0f} °C, 90 % between "
            f"{low:.0f} and {high:.0f} °C"
        )
        if self.load is not None:
            return f"{said}, as is usual of an engine at {self.load}; nothing was measured."
        skin = self.gas.skin - kelvin(0.0)
        return f"{said}, from the main pipe's skin, which the reading says is at {skin:.0f} °C."

    def cautions(self) -> list[Caution]:
        """That the gas is a guess, where it is one."""
        if self.gas.spread < UNSURE * GAS_TEMPERATURE_SPREAD:
            return []
        name = "skin_reading" if self.load is None else "engine_load"
        low, high = self.interval_90_degC
        remedy = (
            "Read the main pipe's skin beside the mouth, on a dab of matt black paint, warm."
            if self.load is not None
            else "A dab of matt black paint, a known gas flow or a probe in the gas narrows it."
        )
        text = (
            f"The gas temperature is only known to lie between {low:.0f} and {high:.0f} °C, which "
            f"makes the length uncertain. {remedy}"
        )
        return [
            Caution(code="uncertain_gas_temperature", message=text, field=f"case.main_pipe.{name}")
        ]


def with_inferred_gas(case: Case) -> tuple[Case, Inferred | None]:
    """The case with its gas temperature, and what was inferred for it; None where it is given.

    Raises
    ------
    Problem
        If no gas explains the skin reading.
    """
    pipe = case.main_pipe
    if pipe.gas_temperature_degC is not None:
        return case, None
    air = kelvin(case.surroundings.air_temperature_degC)
    if pipe.engine_load is not None:
        found = Inferred(from_load(pipe.engine_load, air), air, pipe.engine_load)
        return with_gas(case, found.gas_temperature_degC), found
    stand_in = to_batch([with_gas(case, ANY_GAS_DEGC)])
    assumed = pipe.mass_flow_kg_h is None and not flow_by_engine(case)
    gas = from_skin(
        _reading(pipe),
        stand_in.main_pipe,
        MixtureTable.of(stand_in.gas),
        stand_in.surroundings,
        Flow(
            stand_in.surroundings.pressure,
            np.array([ASSUMED_GAS_SPEED_M_S if assumed else math.nan]),
        ),
        emissivity_spread(None if pipe.surface is None else SURFACES[pipe.surface]),
    )
    found = Inferred(gas, air, None)
    if not found.gas_temperature_degC <= HOTTEST_GAS_DEGC:
        raise _no_gas(pipe, gas)
    return with_gas(case, found.gas_temperature_degC), found


def with_gas(case: Case, gas_temperature: float) -> Case:
    """The case with this gas temperature, °C, in place of what stood for it."""
    changes = {
        "gas_temperature_degC": gas_temperature,
        "skin_reading": None,
        "engine_load": None,
    }
    return case.model_copy(update={"main_pipe": case.main_pipe.model_copy(update=changes)})


def emissivity_spread(record: SurfaceRecord | None) -> float:
    """Standard deviation of the logit, taking a surface's range as 95 %; 0 for a known one."""
    if record is None:
        return 0.0
    odds = record.high / (1 - record.high) / (record.low / (1 - record.low))
    return math.log(odds) / (2 * NORMAL_95)


def _reading(pipe: MainPipe) -> SkinReading:
    given = pipe.skin_reading
    assert given is not None, "the schema asks for one of three"
    usual = max(2.0, 0.02 * abs(given.displayed_degC))
    own = given.surface is None and given.emissivity is None
    surface = pipe.surface if own else given.surface
    emissivity = pipe.emissivity if own else given.emissivity
    record = None if surface is None else SURFACES[surface]
    seen = record.longwave_emissivity if record is not None else emissivity
    assert seen is not None, "the schema leaves one of the two"
    return SkinReading(
        displayed=kelvin(given.displayed_degC),
        uncertainty=usual if given.uncertainty_K is None else given.uncertainty_K,
        infrared=given.thermometer == "infrared",
        emissivity=seen,
        emissivity_spread=emissivity_spread(record),
        emissivity_set=given.emissivity_set,
        is_pipes_own=own,
    )


def _no_gas(pipe: MainPipe, gas: MainGas) -> Problem:
    assert pipe.skin_reading is not None, "only a reading can lack its gas"
    skin = gas.skin - kelvin(0.0)
    entry = Entry(
        READING,
        "skin_too_hot",
        f"The skin would be at {skin:.0f} °C, which no gas up to {HOTTEST_GAS_DEGC:g} °C explains.",
        "Check the unit of the reading, the surface that was looked at and the gas flow, or give "
        "gas_temperature_degC.",
        pipe.skin_reading.displayed_degC,
        "degC",
    )
    return Problem(INVALID, entry.sentence(), entries=[entry])
