"""Worlds that a fit may meet: how a branch, its thermometer and its listener may differ from the
model's belief of them. ``coverage_fit.py`` prints how the fit fares in each.

A world is a function that changes a :class:`World` before anything is read or heard; ``@world``
enters it into :data:`WORLDS`. Truths start as draws from what the model holds likely of its
coefficients, with the widths of :data:`CONTROL`, so that worlds stay the same whatever the fit
believes. All amounts are invented, of the size that one meets under a car.
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from warmbranch.base.interpolation import interpolated
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknowns import Spreads, with_unknowns
from warmbranch.case.case import Case
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.fit.readings import OWN, Heard, Readings, usual_uncertainty
from warmbranch.gas.combustion import burnt_gas
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.banded import newton_step
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.heat.temperature import TemperatureProfile, heat_balance, solve_steady
from warmbranch.sound.resonance import resonances
from warmbranch.steady.interplay import Mouth, state_of
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import warm_up
from warmbranch.warming.wander import ducts


def _synthetic():
    if "synthetic" in sys.modules:
        return sys.modules["synthetic"]
    spec = importlib.util.spec_from_file_location(
        "synthetic", Path(__file__).with_name("synthetic.py")
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


synthetic = _synthetic()

CONTROL = Spreads(air_temperature=5.0, gas_temperature=0.10, emissivity=0.4)
"""Widths of what belongs to the case, in the truths of every world."""

DRAWN = (
    "gas_temperature", "air_temperature", "stirring", "reach", "stanton",
    "outer_film_factor", "emissivity", "mouth_factor",
)  # fmt: skip
"""Unknowns that every truth draws; what else a fit holds uncertain, worlds bring about."""

NODES = 65
MOST_STEPS = 60
CLOSE = 1e-6
"""K. A truth's temperatures are settled after so small a step."""

LEAST_MIXING = 1e-9
"""m²/s, far below molecular: what decays abruptly needs a floor."""

SETTLED = 7200.0
"""s after a cold start."""


@dataclass
class World:
    """One branch as its owner tells it, as it is, and how it is read and heard.

    Attributes
    ----------
    told, true : Case
        One design each.
    stirred : callable, optional
        From positions, m, and the mixing of the model there to what it really is, m²/s.
    film : callable, optional
        From positions over the length to a factor on the loss outside.
    shown : callable, optional
        From positions over the length and displays, K, to what is displayed in their place.
    misplaced : callable, optional
        From noted positions, m, to where the spot really was.
    heard_over_true : float
    listening : float
        Standard deviation of one hearing, relative.
    minutes : float
        Since a cold start, of all readings and of what is heard first; infinite when warm.
    paint : float
        Shift of the logit of the paint's emissivity.
    """

    told: Case
    true: Case
    rng: np.random.Generator
    stirred: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None
    film: Callable[[np.ndarray], np.ndarray] | None = None
    shown: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None
    misplaced: Callable[[np.ndarray], np.ndarray] | None = None
    heard_over_true: float = 1.0
    listening: float = 0.01
    minutes: float = np.inf
    paint: float = 0.0
    own: float = 0.0
    _solved: dict[float, tuple[float, np.ndarray, np.ndarray]] = field(default_factory=dict)

    @property
    def length(self) -> float:
        return float(self.told.branch.length[0])

    def solved(self, length: float | None = None) -> tuple[float, np.ndarray, np.ndarray]:
        """Resonance, Hz, positions and skin, (1, nodes), of the warm branch at a length."""
        length = self.length if length is None else length
        if length not in self._solved:
            self._solved[length] = _truth(self, length)
        return self._solved[length]

    def tone(self, length: float | None = None) -> float:
        """True first resonance, Hz."""
        return self.solved(length)[0]

    def length_for(self, tone: float) -> float:
        """Length, m, that has a true resonance of ``tone``, by secants."""
        before, here = self.length, self.length * self.tone() / tone
        for _ in range(8):
            f0, f1 = self.tone(before), self.tone(here)
            if abs(f1 / tone - 1) < 1e-5:
                break
            before, here = here, here + (tone - f1) * (here - before) / (f1 - f0)
        return here

    def read(self, count: int) -> Readings:
        """What a cheap thermometer displays at random places."""
        rng = self.rng
        position = np.sort(rng.uniform(0.06, 0.98, count)) * self.length
        kind = rng.choice(["paint", "bare", "contact"], size=count, p=[0.5, 0.25, 0.25])
        readings = synthetic.to_be_read(self.told, position, tuple(kind))
        spot = position if self.misplaced is None else self.misplaced(position)
        skin = self._skin(np.clip(spot, 0, self.length))
        odds = {OWN: self.own, synthetic.PAINT: self.paint}
        done = synthetic.displayed(readings, skin, self.true, odds, rng)
        if self.shown is not None:
            shown = self.shown(position / self.length, done.displayed)
            done = replace(done, displayed=shown, uncertainty=usual_uncertainty(shown))
        return done

    def hear(self, length: float | None = None, order: float = 2.0) -> Heard:
        """One hearing of the branch at a length."""
        length = self.length if length is None else length
        tone = self.tone(length) * self._cold(length) * self.heard_over_true
        tone *= 1 + self.listening * self.rng.normal()
        heard = np.round(tone * 60 / order / 5) * 5 * order / 60
        claimed = 0.01 * heard
        return Heard.of_warm(np.array([heard]), np.array([claimed]), np.array([length]))

    def _skin(self, position: np.ndarray) -> np.ndarray:
        if np.isinf(self.minutes):
            _, x, skin = self.solved()
            return interpolated(x, skin, position)
        moments = np.full(len(position), self.minutes * 60)
        return synthetic.skin_at(self.true, Drive.cold_start(SETTLED), position, moments)

    def _cold(self, length: float) -> float:
        """Tone at the first hearing over that of the warm branch."""
        if np.isinf(self.minutes) or length != self.length:
            return 1.0
        moments = np.array([self.minutes * 60, SETTLED])
        duct, _ = ducts(warm_up(self.true, Drive.cold_start(SETTLED), moments))
        early, warm = resonances(duct, modes=1)[0][:, 0]
        return float(early / warm)


def _truth(own: World, length: float) -> tuple[float, np.ndarray, np.ndarray]:
    """The model's own balance, with the world's mixing and film in it."""
    case = own.true.changed(branch=own.true.branch.with_length(np.array([length])))
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
    balance = heat_balance(case, gas, air, speed, nodes=NODES)
    if own.stirred is not None:
        forced = np.maximum(own.stirred(balance.x, balance.forced_diffusivity), LEAST_MIXING)
        balance = replace(balance, forced_diffusivity=forced)
    if own.film is None:
        profile = solve_steady(balance, wall)
    else:
        profile = _with_film(balance, wall, own.film(balance.x / length))
    duct = state_of(case, gas, Mouth.of(case, gas, speed, wall), profile).duct
    return float(resonances(duct, modes=1)[0][0, 0]), profile.position, profile.skin


def _with_film(balance: HeatBalance, wall: np.ndarray, film: np.ndarray) -> TemperatureProfile:
    """Newton's method with the loss outside multiplied, radiation along with convection."""
    balance.__dict__["skin_area"] = balance.skin_area * film  # in the cached property's place
    around = balance.case.surroundings.air_temperature
    firsts = (balance.case.main_pipe.gas_temperature, wall, wall)
    s = balance.x / balance.x[:, -1:]
    now = [around + (first - around) * np.exp(-3 * s) for first in firsts]
    low, high = float(np.min([around, *firsts])), float(np.max([around, *firsts]))
    for step in range(MOST_STEPS):
        change = newton_step(balance.linearise(*now))
        share = 0.5 if step > MOST_STEPS // 3 else 1.0
        now = [np.clip(t + share * d, low, high) for t, d in zip(now, change, strict=True)]
        if max(float(np.max(np.abs(d))) for d in change) < CLOSE:
            return TemperatureProfile(balance.x, *now, *np.zeros((4, 1)))
    raise RuntimeError("this truth has not settled")


WORLDS: dict[str, Callable[[World], None]] = {}
"""By name; in the order in which they are told."""

ABSURD: set[str] = set()
"""Names of worlds that no fit is asked to survive."""


def world(name: str, *, absurd: bool = False):
    def enter(change: Callable[[World], None]):
        WORLDS[name] = change
        if absurd:
            ABSURD.add(name)
        return change

    return enter


def drawn(name: str, rng: np.random.Generator) -> World:
    """A branch, a truth, and the world's changes to it."""
    told = synthetic.a_case(rng)
    prior = Calibration.prior(told, CONTROL)
    keep = [i for i, unknown in enumerate(prior.names) if unknown in DRAWN]
    names = [prior.names[i] for i in keep]
    coordinates = prior.mean[keep] + prior.spread[keep] * rng.normal(size=len(keep))
    true = with_unknowns(told, names, coordinates[None])
    own = World(told, true, rng, paint=synthetic.PAINT_SPREAD * rng.normal())
    own.own = float(coordinates[names.index("emissivity")])
    WORLDS[name](own)
    return own


@world("its own (control)")
def control(own: World) -> None:
    """Nothing but what the model's priors say."""


@world("stirring ends abruptly")
def abrupt(own: World) -> None:
    reach = float(own.true.closures.reach[0] * own.true.branch.bore[0])
    sharp = own.rng.uniform(3.0, 6.0)
    top = _at_mouth(own)
    own.stirred = lambda x, model: top * np.exp(-((x / reach) ** sharp))


@world("two zones: mixed, then stagnant")
def zones(own: World) -> None:
    end = own.rng.uniform(0.15, 0.6) * own.length
    strength = own.rng.uniform(0.3, 1.5) * _at_mouth(own)
    edge = 0.5 * float(own.true.branch.bore[0])
    own.stirred = lambda x, model: strength / (1 + np.exp(np.clip((x - end) / edge, -40, 40)))


@world("stirring decays as a power")
def power(own: World) -> None:
    reach = float(own.true.closures.reach[0] * own.true.branch.bore[0])
    top = _at_mouth(own)
    exponent = own.rng.uniform(1.5, 3.0)
    own.stirred = lambda x, model: top * (1 + x / (exponent * reach / 2)) ** -exponent


@world("wind on the front half only")
def front_wind(own: World) -> None:
    strong, weak = own.rng.uniform(1.5, 2.2), own.rng.uniform(0.5, 0.7)
    own.film = lambda s: weak + (strong - weak) / (1 + np.exp((s - 0.5) / 0.04))


@world("wind on the rear half only")
def rear_wind(own: World) -> None:
    strong, weak = own.rng.uniform(1.5, 2.2), own.rng.uniform(0.5, 0.7)
    own.film = lambda s: weak + (strong - weak) / (1 + np.exp((0.5 - s) / 0.04))


@world("another gas (fuel, humidity, excess air)")
def other_gas(own: World) -> None:
    rng = own.rng
    fuel = str(rng.choice(["petrol", "diesel", "LPG", "methane"]))
    gas = burnt_gas(fuel, float(rng.uniform(0.9, 2.2)), float(rng.uniform(0.002, 0.025)))
    own.true = own.true.changed(gas=gas)


@world("gas 40 K off")
def gas_off(own: World) -> None:
    pipe = own.true.main_pipe
    own.true = own.true.changed(
        main_pipe=pipe.changed(
            gas_temperature=pipe.gas_temperature + float(own.rng.choice([-40.0, 40.0]))
        )
    )


@world("gas, flow and air speed all wrong")
def all_wrong(own: World) -> None:
    pipe, outside, rng = own.true.main_pipe, own.true.surroundings, own.rng
    excess = pipe.gas_temperature - outside.air_temperature
    own.true = own.true.changed(
        main_pipe=pipe.changed(
            gas_temperature=outside.air_temperature + excess * rng.uniform(0.85, 1.15),
            mass_flow=pipe.mass_flow * rng.uniform(0.6, 1.6),
        ),
        surroundings=outside.changed(air_speed=outside.air_speed * rng.uniform(0.4, 2.0)),
    )


@world("heard rpm 2 % off, claimed ±1 %")
def biased_ear(own: World) -> None:
    own.heard_over_true = 1 + float(own.rng.choice([-0.02, 0.02]))


@world("thermometer shows 4 % too much or too little")
def gain(own: World) -> None:
    factor = 1 + float(own.rng.choice([-0.04, 0.04]))
    own.shown = lambda s, shown: 273.15 + (shown - 273.15) * factor


@world("readings wave along the branch")
def wave(own: World) -> None:
    rng, around = own.rng, float(own.told.surroundings.air_temperature[0])
    size, number, phase = rng.uniform(0.08, 0.15), rng.uniform(0.5, 1.5), rng.uniform(0, 2 * np.pi)

    def shown(s: np.ndarray, seen: np.ndarray) -> np.ndarray:
        bent = size * np.sin(2 * np.pi * number * s + phase)
        return around + (seen - around) * (1 + bent)

    own.shown = shown


@world("positions 12 mm off")
def positions(own: World) -> None:
    off = 0.012 * own.rng.normal(size=100)
    own.misplaced = lambda x: x + off[: len(x)]


@world("one reading of another spot")
def misplaced(own: World) -> None:
    def moved(x: np.ndarray) -> np.ndarray:
        new = x.copy()
        new[own.rng.integers(len(x))] = own.rng.uniform(0.06, 0.98) * own.length
        return new

    own.misplaced = moved


@world("mouth correction 0.4 or 1.6")
def mouth(own: World) -> None:
    factor = float(own.rng.choice([0.4, 1.6]))
    closures = own.true.closures.changed(mouth_factor=np.array([factor]))
    own.true = own.true.changed(closures=closures)


@world("everyday mixture of small faults")
def everyday(own: World) -> None:
    rng = own.rng
    pipe, outside = own.true.main_pipe, own.true.surroundings
    own.true = own.true.changed(
        gas=burnt_gas("petrol", float(rng.uniform(0.93, 1.15)), float(rng.uniform(0.003, 0.018))),
        main_pipe=pipe.changed(mass_flow=pipe.mass_flow * np.exp(0.2 * rng.normal())),
        surroundings=outside.changed(air_speed=outside.air_speed * np.exp(0.3 * rng.normal())),
    )
    tilt, factor = 0.3 * rng.normal(), 1 + 0.015 * rng.normal()
    own.film = lambda s: np.exp(tilt * (s - 0.5) * 2)
    off = 0.006 * rng.normal(size=100)
    own.misplaced = lambda x: x + off[: len(x)]
    own.shown = lambda s, shown: 273.15 + (shown - 273.15) * factor
    own.heard_over_true = 1 + 0.01 * rng.normal()
    sharp = float(np.exp(0.4 * rng.normal()))
    reach = float(own.true.closures.reach[0] * own.true.branch.bore[0])
    top = _at_mouth(own)
    own.stirred = lambda x, model: top * np.exp(-((x / reach) ** sharp))


@world("read and heard 4 minutes after the start", absurd=True)
def too_early(own: World) -> None:
    own.minutes = 4.0


@world("read and heard 10 minutes after the start")
def early(own: World) -> None:
    own.minutes = 10.0


def _at_mouth(own: World) -> float:
    """Mixing at the mouth as the model has it, m²/s."""
    case = own.true
    gas = MixtureTable.of(case.gas)
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    return float((case.closures.stirring * speed * case.branch.bore)[0])
