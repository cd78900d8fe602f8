"""Cases that the tests on length and place share. All are invented."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from warmbranch.case.case import Case
from warmbranch.case.closures import Closures
from warmbranch.case.geometry import Branch, Piece
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import metal
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.gas.combustion import burnt_gas


def make_case(
    *,
    length: float = 1.2,
    pieces: tuple[Piece, ...] | None = None,
    outside_diameter: float = 48.3e-3,
    wall_thickness: float = 1.5e-3,
    gas_temperature: float = 583.15,
    air_temperature: float = 291.15,
    air_speed: float = 4.0,
    mass_flow: float = 95 / 3600,
    incident_pressure: float = 0.0,
    **closures: float | bool,
) -> Case:
    """A branch on the exhaust of a camper van; ``closures`` are fields of ``Closures``."""
    return Case(
        branch=Branch(outside_diameter, wall_thickness, 2e-3, (pieces or (Piece(length),),), 0.0),
        metal=metal("stainless 304"),
        covering=Covering(0.45, 0.0, 0.05),
        main_pipe=MainPipe(
            60.3e-3,
            1.5e-3,
            gas_temperature,
            math.nan,
            mass_flow,
            0.45,
            1.6,
            incident_pressure,
            1000.0,
        ),
        gas=burnt_gas("petrol", 1.0),
        surroundings=Surroundings(air_temperature, air_temperature, 101325.0, air_speed),
        closures=replace(Closures.default(), **{k: np.array([v]) for k, v in closures.items()}),
    )


def make_uniform_case(temperature: float = 400.0, **changes) -> Case:
    """As warm outside as inside, so that one temperature rules all along; no losses."""
    return make_case(
        gas_temperature=temperature,
        air_temperature=temperature,
        **{"wall_losses": False, "fixed_mouth_length": 0.0, **changes},
    )


@pytest.fixture(scope="session")
def a_case() -> Callable[..., Case]:
    return make_case


@pytest.fixture(scope="session")
def uniform_case() -> Callable[..., Case]:
    return make_uniform_case


BENT = (Piece(0.18), Piece.bend(math.pi / 2, 0.072), Piece(0.94))


@pytest.fixture(scope="session")
def bent() -> tuple[Piece, ...]:
    return BENT


@pytest.fixture(scope="session")
def operating_points() -> Case:
    """Cruise, cold start, full load, hot town, winter."""
    return Case.concatenate(
        [
            make_case(pieces=BENT),
            make_case(pieces=BENT, gas_temperature=453.15, air_temperature=273.15, air_speed=2.0),
            make_case(pieces=BENT, gas_temperature=723.15, air_speed=15.0),
            make_case(pieces=BENT, gas_temperature=603.15, air_temperature=308.15, air_speed=20.0),
            make_case(pieces=BENT, gas_temperature=563.15, air_temperature=263.15, air_speed=25.0),
        ]
    )
