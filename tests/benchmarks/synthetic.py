"""Invented branches whose truth is known: drawn from the prior, read with a cheap instrument."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from warmbranch.base.constants import ICE_POINT
from warmbranch.base.interpolation import interpolated
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.case.case import Case
from warmbranch.case.closures import CAP_PRESSURE, Closures
from warmbranch.case.geometry import Branch, Piece
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import metal
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.fit.next_reading import LISTENING_UNCERTAINTY
from warmbranch.fit.readings import KNOWN, OWN, Heard, Readings, usual_uncertainty
from warmbranch.fit.shared import REFLECTED, Shared
from warmbranch.fit.skin_in_time import Warming
from warmbranch.fit.thermometer import share_on_tube
from warmbranch.gas.combustion import burnt_gas
from warmbranch.steady.answer import Answer
from warmbranch.steady.solve import solve
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import skin_at

PAINT, PAINT_EMISSIVITY, PAINT_SPREAD = "matt black paint", 0.95, 0.43


@dataclass(frozen=True)
class Experiment:
    """One branch, its readings, and what is really so."""

    case: Case
    readings: Readings
    heard: Heard
    truth: Answer
    coordinates: np.ndarray
    patch: float


def a_case(rng: np.random.Generator, **changes: float) -> Case:
    """A branch such as people build: 0.5 to 1.5 m of 38 to 63.5 mm tube."""
    diameter = rng.uniform(38e-3, 63.5e-3)
    main = diameter * rng.uniform(1.0, 1.3)
    air = rng.uniform(278.15, 308.15)
    speed = rng.choice([0.0, rng.uniform(0.5, 15.0)])
    emissivity = rng.uniform(0.2, 0.9)
    hot = rng.uniform(400.0, 900.0)
    flow = rng.uniform(10.0, 40.0)  # m/s of gas at 0.5 kg/m³
    return Case(
        branch=Branch(
            diameter, 1.5e-3, 1.5e-3, ((Piece(rng.uniform(0.5, 1.5)),),), rng.choice([0.0, 0.2])
        ),
        metal=metal("stainless 304"),
        covering=Covering(emissivity, 0.0, 0.05),
        main_pipe=MainPipe(
            main,
            1.5e-3,
            hot,
            np.nan,
            0.5 * np.pi / 4 * main**2 * flow,
            0.4,
            1.6,
            0.0,
            CAP_PRESSURE.median,
        ),
        gas=burnt_gas("petrol", 1.0),
        surroundings=Surroundings(air, air, 101325.0, speed),
        closures=Closures.default(),
    )


def experiment(
    rng: np.random.Generator,
    count: int,
    *,
    listens: bool,
    case: Case | None = None,
    given: Mapping[str, float] | None = None,
) -> Experiment:
    """Draw a truth from the prior, with what readings share, and read and listen as one does.

    ``given`` are coordinates, by name, that are not drawn.

    Half of the readings are infrared on a patch of paint, a quarter on bare metal, the rest by
    contact. Noise is normal, of the size that makers of cheap instruments state, and displays
    are rounded to 0.1 K and engine speeds to 5 rpm.
    """
    case = a_case(rng) if case is None else case
    prior = Calibration.prior(case)
    coordinates = prior.mean + prior.root @ rng.normal(size=len(prior.names))
    for name, value in (given or {}).items():
        coordinates[prior.names.index(name)] = value
    patch = PAINT_SPREAD * rng.normal()
    true_case = with_unknowns(case, prior.names, coordinates[None])
    truth = solve(true_case)
    length = float(case.branch.length[0])
    position = np.sort(rng.uniform(0.06, 0.98, count)) * length
    kind = rng.choice(["paint", "bare", "contact"], size=count, p=[0.5, 0.25, 0.25])
    readings = to_be_read(case, position, tuple(kind))
    air = float(case.surroundings.air_temperature[0])
    shared = Shared.of(position / length, readings.infrared, int(listens), air)
    errors = rng.normal(size=len(shared))
    own = shift_of_own(prior, coordinates)
    # By radiances, which the fit takes to be straight; by draws of its own.
    mirrored = case.surroundings.radiant_temperature + REFLECTED * rng.spawn(1)[0].normal()
    mirrored = np.repeat(mirrored, count)
    seen = replace(readings, reflected=mirrored)
    readings = replace(
        read(seen, truth, own, patch, rng, (shared, errors)), reflected=readings.reflected
    )
    heard = Heard.none()
    if listens:
        heard = hear(truth, rng, ear=float(np.exp(shared.on_tone @ errors)[0]))
    return Experiment(case, readings, heard, truth, coordinates, patch)


WARMING = Warming(Drive.cold_start(1200.0))
"""A cold start whose time constants are known within the prior."""

MOMENTS = np.array([120.0, 300.0, 540.0])
"""s: 2, 5 and 9 minutes after the start."""


def experiment_in_time(rng: np.random.Generator, moments: np.ndarray = MOMENTS) -> Experiment:
    """The same after a cold start: one reading at each moment, nothing heard."""
    case = a_case(rng)
    prior = Calibration.prior(case)
    coordinates = prior.mean + prior.root @ rng.normal(size=len(prior.names))
    patch = PAINT_SPREAD * rng.normal()
    true_case = with_unknowns(case, prior.names, coordinates[None])
    position = rng.uniform(0.06, 0.7, len(moments)) * float(case.branch.length[0])
    kind = rng.choice(["paint", "contact"], size=len(moments))
    drive = WARMING.drive.paced(np.exp(WARMING.start_spread * rng.normal(size=1)))
    readings = replace(to_be_read(case, position, tuple(kind)), time=moments)
    skin = skin_at(true_case, drive, position, moments)
    readings = displayed(readings, skin, true_case, {PAINT: patch}, rng)
    return Experiment(case, readings, Heard.none(), solve(true_case), coordinates, patch)


def to_be_read(case: Case, position: np.ndarray, kind: tuple[str, ...]) -> Readings:
    """Readings before their displays are known: those hold nothing yet."""
    count = len(position)
    own = float(case.covering.emissivity[0])
    air = float(case.surroundings.air_temperature[0])
    is_paint = np.array([k == "paint" for k in kind])
    one = np.ones(count)
    names = {"paint": PAINT, "bare": OWN, "contact": KNOWN}
    return Readings(
        position=position,
        displayed=300.0 * one,
        uncertainty=one,
        infrared=np.array([k != "contact" for k in kind]),
        surface=tuple(names[k] for k in kind),
        emissivity=np.where(is_paint, PAINT_EMISSIVITY, own),
        emissivity_spread=np.where(is_paint, PAINT_SPREAD, 0.0),
        emissivity_set=0.95 * one,
        reflected=np.nan * one,
        reflected_set=air * one,
        share=share_on_tube(case.branch.outside_diameter, 0.25 * one, 8.0 * one),
        time=np.nan * one,
    )


def with_known_surfaces(readings: Readings) -> Readings:
    """The same readings, the emissivities of the surfaces taken as given."""
    return replace(
        readings,
        surface=(KNOWN,) * len(readings),
        emissivity_spread=np.zeros(len(readings)),
    )


def shift_of_own(prior: Calibration, coordinates: np.ndarray) -> float:
    """What the truth adds to the logit of the bare skin's emissivity."""
    return float(coordinates[prior.names.index("emissivity")])


def read(
    readings: Readings,
    truth: Answer,
    own: float,
    patch: float,
    rng: np.random.Generator,
    shared: tuple[Shared, np.ndarray] | None = None,
) -> Readings:
    """Fill in what a cheap instrument displays, with the errors that all readings share."""
    skin = interpolated(truth.profile.position, truth.profile.skin, readings.position)
    return displayed(readings, skin, truth.case, {OWN: own, PAINT: patch}, rng, shared)


def displayed(
    readings: Readings,
    skin: np.ndarray,
    case: Case,
    shift: Mapping[str, float | np.ndarray],
    rng: np.random.Generator,
    shared: tuple[Shared, np.ndarray] | None = None,
) -> Readings:
    """The same for skins (1, readings), K, and shifts of the logits of emissivities.

    A shift is the same wherever its surface is read, or one a reading.
    """
    every = [np.broadcast_to(shift.get(n, 0.0), len(readings)) for n in readings.surface]
    odds = np.array([[own[i] for i, own in enumerate(every)]])
    shown = readings.expected(skin, odds, case.surroundings.radiant_temperature)[0]
    if shared is not None:
        kinds, errors = shared
        shown = shown + kinds.moves(shown[None])[0] @ errors
    noisy = shown + usual_uncertainty(shown) * rng.normal(size=len(shown))
    rounded = np.round(noisy - ICE_POINT, 1) + ICE_POINT
    return replace(readings, displayed=rounded, uncertainty=usual_uncertainty(rounded))


def hear(truth: Answer, rng: np.random.Generator, order: float = 2.0, ear: float = 1.0) -> Heard:
    """Find the quiet rpm by an ear that hears ``ear`` times the tone."""
    tone = truth.resonance[0, 0] * ear * (1 + LISTENING_UNCERTAINTY * rng.normal())
    heard = np.round(tone * 60 / order / 5) * 5 * order / 60
    return Heard.of_warm(
        np.array([heard]), np.array([LISTENING_UNCERTAINTY * heard]), truth.case.branch.length
    )
