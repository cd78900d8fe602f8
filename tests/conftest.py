"""Builders of cases that tests of the forward model share."""

from __future__ import annotations

import os

# Workers share the cores: linear algebra's own threads wait for each other and take twice the time.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import gc
import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import NamedTuple

import numpy as np
import pytest

from shared.document import document, schemas
from warmbranch.case.case import Case
from warmbranch.case.closures import (
    CAP_PRESSURE,
    MOUTH_EXCHANGE,
    MOUTH_FACTOR,
    OUTER_FILM_FACTOR,
    PULSATION,
    REACH,
    STANTON,
    STIRRED_FILM,
    STIRRING,
    TONE_EXCHANGE,
    Closures,
    MouthModel,
    Prior,
    at_mouth,
)
from warmbranch.case.geometry import Branch, Piece
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import METALS, Metal, metal
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.gas.combustion import burnt_gas
from warmbranch.gas.gas import Composition

__all__ = ["document", "schemas"]
"""Fixtures for every test."""


# The collector of cycles looks through half a million objects of libraries and collected tests, for
# a tenth of all time: let it look seldom, and never again at what is there before the first test.
gc.set_threshold(20_000, 20, 20)


def pytest_collection_finish() -> None:
    gc.freeze()


def pytest_xdist_auto_num_workers() -> int:
    """What ``-n auto`` means: a worker more than cores, since many tests wait for a clock."""
    return (os.cpu_count() or 1) + 1


COMMON = {
    "length": 1.031,
    "pieces": None,
    "outside_diameter": 50.8e-3,
    "wall_thickness": 1.5e-3,
    "cap_thickness": 1.5e-3,
    "rise": 0.0,
    "lean": 0.0,
    "metal": metal("stainless 304"),
    "emissivity": 0.4,
    "wrap_thickness": 0.0,
    "wrap_conductivity": 0.05,
    "main_outside_diameter": 57.2e-3,
    "main_wall_thickness": 1.5e-3,
    "main_emissivity": 0.4,
    "gas_temperature": 423.15,
    "skin_temperature": math.nan,
    "mass_flow": 60 / 3600,
    "film_augmentation": 1.6,
    "incident_pressure": 0.0,
    "cap_pressure": CAP_PRESSURE.median,
    "gas": burnt_gas("petrol", 1.0),
    "air_temperature": 298.15,
    "radiant_temperature": None,
    "pressure": 101325.0,
    "air_speed": 1.0,
}
"""The branch of common practice: 50.8 mm tube on a 57.2 mm pipe with half the gas of a
six-cylinder engine. ``radiant_temperature`` None means that of the air."""


def build_case(**changes) -> Case:
    """``COMMON`` with changes; every name of ``Closures`` may be changed too.

    Any value may be an array, one entry a design.
    """
    closures = {name: changes.pop(name) for name in [*changes] if name not in COMMON}
    if "fixed_diffusivity" in closures:  # as the service has it
        fixed = ~np.isnan(np.asarray(closures["fixed_diffusivity"], dtype=np.float64))
        free = np.where(fixed, np.inf, MOUTH_EXCHANGE.median)
        closures.setdefault("mouth_exchange", free if free.ndim else float(free))
    given = COMMON | changes
    arrays = [v for v in (*given.values(), *closures.values()) if isinstance(v, np.ndarray)]
    size = max([1, *(len(array) for array in arrays)])
    lengths = np.broadcast_to(given["length"], size)
    radiant = given["radiant_temperature"]
    return Case(
        branch=Branch(
            given["outside_diameter"],
            given["wall_thickness"],
            given["cap_thickness"],
            given["pieces"] or tuple((Piece(length),) for length in lengths.tolist()),
            given["rise"],
            given["lean"],
        ),
        metal=given["metal"],
        covering=Covering(given["emissivity"], given["wrap_thickness"], given["wrap_conductivity"]),
        main_pipe=MainPipe(
            given["main_outside_diameter"],
            given["main_wall_thickness"],
            given["gas_temperature"],
            given["skin_temperature"],
            given["mass_flow"],
            given["main_emissivity"],
            given["film_augmentation"],
            given["incident_pressure"],
            given["cap_pressure"],
        ),
        gas=given["gas"],
        surroundings=Surroundings(
            given["air_temperature"],
            given["air_temperature"] if radiant is None else radiant,
            given["pressure"],
            given["air_speed"],
        ),
        closures=replace(
            Closures.default().repeat(size),
            **{name: np.broadcast_to(value, size).copy() for name, value in closures.items()},
        ),
    )


GASES = Composition.concatenate(
    [
        burnt_gas("petrol", 1.0, 0.005),
        burnt_gas("petrol", 0.85),
        burnt_gas("diesel", 3.0, 0.01),
        burnt_gas("methane", 1.0),
        Composition.dry_air(),
    ]
)

DIMENSIONS = 60
"""At least the number of columns that ``sample_box`` draws."""


class _Draw:
    """Columns of a Sobol sequence, taken one after the other."""

    def __init__(self, size: int, seed: int) -> None:
        from scipy.stats import qmc  # slow to import, and few tests draw

        sampler = qmc.Sobol(DIMENSIONS, seed=seed)
        # A Sobol sequence is balanced at powers of two only: draw the next one and cut.
        self._columns = iter(sampler.random_base2(math.ceil(math.log2(size)))[:size].T)

    def unit(self) -> np.ndarray:
        return next(self._columns)

    def between(self, low, high) -> np.ndarray:
        return low + (high - low) * self.unit()

    def by_ratio(self, low, high) -> np.ndarray:
        """Evenly in the logarithm."""
        return low * (high / low) ** self.unit()

    def sometimes(self, share, value, otherwise) -> np.ndarray:
        return np.where(self.unit() < share, value, otherwise)

    def which(self, count: int) -> np.ndarray:
        return (count * self.unit()).astype(np.intp)


class Coefficients(NamedTuple):
    """Ranges of the model's own coefficients, each (low, high)."""

    stirring: tuple[float, float]
    reach: tuple[float, float]
    pulsation: tuple[float, float]
    stanton: tuple[float, float]
    buoyancy: tuple[float, float]
    outer_film_factor: tuple[float, float]
    mouth_factor: tuple[float, float]


class MouthCoefficients(NamedTuple):
    """The same of the mouth and the stirred film."""

    mouth_exchange: tuple[float, float]
    tone_exchange: tuple[float, float]
    stirred_film: tuple[float, float]


def _range(prior: Prior) -> tuple[float, float]:
    return prior.low, prior.high


PRIOR = (
    Coefficients(
        tuple(float(at_mouth(value, REACH.median)) for value in _range(STIRRING)),
        *(_range(prior) for prior in (REACH, PULSATION, STANTON)),
        (1.0, 1.0),
        *(_range(p) for p in (OUTER_FILM_FACTOR, MOUTH_FACTOR)),
    ),
    MouthCoefficients(*(_range(p) for p in (MOUTH_EXCHANGE, TONE_EXCHANGE, STIRRED_FILM))),
)
"""What the model holds likely."""

ADMITTED = (
    Coefficients(
        # Beyond some 1.1 U d no oscillating flow in tubes has been seen to mix (from memory).
        stirring=(0.01, 1.1),
        reach=(0.5, 200.0),
        pulsation=(0.01, 5.0),
        stanton=(1e-3, 1.0),
        buoyancy=(1e-3, 20.0),
        outer_film_factor=(0.05, 20.0),
        mouth_factor=(1e-3, 3.0),
    ),
    MouthCoefficients(
        mouth_exchange=(1e-3, 1.0), tone_exchange=(0.01, 3.0), stirred_film=(0.01, 20.0)
    ),
)
"""What the service accepts, and no one believes."""


class Box(NamedTuple):
    """Ranges of sizes that set the rest, each (low, high), m; and the most flow, kg/s."""

    length: tuple[float, float]
    main_diameter: tuple[float, float]
    main_wall: tuple[float, float]
    mass_flow: float


VEHICLES = Box((0.0, 3.0), (0.015, 0.150), (0.5e-3, 5e-3), 3000 / 3600)
PLANT_ROOMS = Box((3.0, 6.0), (0.150, 0.600), (0.5e-3, 12e-3), 20000 / 3600)
"""What was admitted first, and the corner that large generators and stacks added."""


def sample_box(
    size: int,
    seed: int = 0,
    coefficients: tuple[Coefficients, MouthCoefficients] = ADMITTED,
    box: Box = VEHICLES,
) -> Case:
    """Designs spread over the whole box that the service admits, or over another one.

    Wraps, bends, fixed closures, a given skin, pulsation, still air, level branches and idle
    main pipes each get a share, so that a thousand designs hold every pair of them. Mass flow
    stops where the main pipe would choke: no pipe carries more.
    """
    draw = _Draw(size, seed)
    inside, outside = coefficients
    diameter = draw.by_ratio(0.015, 0.150)
    wall = np.minimum(draw.by_ratio(0.5e-3, 5e-3), 0.45 * diameter)
    shortest = 3 * (diameter - 2 * wall) * (1 + 1e-9)  # three bores, on the right side of rounding
    length = draw.by_ratio(np.maximum(shortest, box.length[0]), box.length[1])
    bent = draw.unit() < 0.3
    bend_radius = diameter * draw.by_ratio(0.55, 5.0)
    before, share = draw.unit(), draw.between(0.02, 0.95)
    pieces = tuple(
        _bent(*numbers) if is_bent else (Piece(numbers[0]),)
        for is_bent, *numbers in zip(
            bent.tolist(), length.tolist(), bend_radius.tolist(), before, share, strict=True
        )
    )
    main_diameter = draw.by_ratio(*box.main_diameter)
    main_wall = np.minimum(draw.by_ratio(*box.main_wall), 0.4 * main_diameter)
    hot = draw.between(233.15, 1273.15)
    air = draw.between(233.15, 333.15)
    pressure = draw.between(50e3, 200e3)
    gas = GASES.take(draw.which(len(GASES)))
    # Mass flow at the speed of sound, the ratio of heat capacities being 1.3 or more.
    choked = np.pi / 4 * (main_diameter - 2 * main_wall) ** 2 * pressure
    choked *= np.sqrt(1.3 / (gas.gas_constant * hot))
    mass_flow = np.minimum(draw.by_ratio(1e-4, box.mass_flow), choked)
    nothing = np.full(size, np.nan)
    # A tone moves the gas no faster than sound: u < 2 p S_main / (ρ c S), where ρ c² is 1.3 p or
    # more, and the gas just inside, which may be colder, has a slower sound.
    loudest = 0.25 * pressure * ((diameter - 2 * wall) / (main_diameter - 2 * main_wall)) ** 2

    def fixed(low, high):
        return draw.sometimes(0.7, nothing, draw.by_ratio(low, high))

    closures = replace(
        Closures.default().repeat(size),
        **{name: draw.by_ratio(*ends) for name, ends in inside._asdict().items()},
        fixed_diffusivity=draw.sometimes(0.05, 0.0, fixed(1e-6, 1.0)),
        fixed_inner_film=fixed(0.1, 1000.0),
        fixed_outer_film=fixed(0.1, 1000.0),
        fixed_mouth_length=fixed(1e-4, 0.2),
        mouth_model=draw.which(len(MouthModel)),
        wall_losses=draw.unit() < 0.9,
    )
    names = list(METALS)
    emissivity = draw.unit()
    case = Case(
        branch=Branch(
            diameter,
            wall,
            draw.by_ratio(0.3e-3, 20e-3),
            pieces,
            draw.sometimes(0.3, 0.0, draw.between(-np.pi / 2, np.pi / 2)),
        ),
        metal=Metal.concatenate([metal(name) for name in names]).take(draw.which(len(names))),
        covering=Covering(
            emissivity,
            draw.sometimes(0.6, 0.0, 0.05 * draw.unit() ** 2),
            draw.by_ratio(0.02, 1.0),
        ),
        main_pipe=MainPipe(
            main_diameter,
            main_wall,
            hot,
            draw.sometimes(0.8, nothing, draw.between(233.15, 1273.15)),
            draw.sometimes(0.1, 0.0, mass_flow),
            emissivity,
            draw.by_ratio(0.5, 10.0),
            draw.sometimes(0.8, 0.0, np.minimum(draw.by_ratio(10.0, 20e3), loudest)),
            np.full(size, CAP_PRESSURE.median),
        ),
        gas=gas,
        surroundings=Surroundings(
            air,
            draw.sometimes(0.7, air, draw.between(233.15, 673.15)),
            pressure,
            draw.sometimes(0.2, 0.0, 60 * draw.unit() ** 2),
        ),
        closures=closures,
    )
    mouth = {name: draw.by_ratio(*ends) for name, ends in outside._asdict().items()}
    free = ~np.isnan(closures.fixed_diffusivity) | (draw.unit() < 0.1)
    mouth["mouth_exchange"] = np.where(free, np.inf, mouth["mouth_exchange"])
    cap_pressure = draw.by_ratio(100.0, 10e3)
    return replace(
        case,
        closures=replace(closures, **mouth),
        main_pipe=replace(case.main_pipe, cap_pressure=cap_pressure),
    )


def _bent(length: float, radius: float, before: float, share: float) -> tuple[Piece, ...]:
    """One bend of at most a full turn that takes ``share`` of the length, or less."""
    bend = min(share * length, 2 * np.pi * radius)
    first = before * (length - bend)
    parts = (Piece(first), Piece(bend, radius), Piece(length - bend - first))
    return tuple(part for part in parts if part.length > 0)


@pytest.fixture(scope="session")
def make_case() -> Callable[..., Case]:
    return build_case


@pytest.fixture(scope="session")
def box_sample() -> Callable[..., Case]:
    return sample_box


@pytest.fixture(scope="session")
def plant_room_sample() -> Callable[..., Case]:
    """Branches of 3 to 6 m on main pipes of 150 to 600 mm; coefficients as in likely_sample."""
    return partial(sample_box, coefficients=PRIOR, box=PLANT_ROOMS)


@pytest.fixture(scope="session")
def likely_sample() -> Callable[..., Case]:
    """The same box, with the model's own coefficients as likely as the model holds them."""
    return partial(sample_box, coefficients=PRIOR)
