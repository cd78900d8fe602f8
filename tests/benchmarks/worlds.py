"""Worlds that a fit may meet: how a branch, its thermometer and its listener may differ from the
model's belief of them. ``coverage_fit.py`` prints how the fit fares in each.

A world is a function that changes a :class:`world.World` before anything is read or heard;
``@world`` enters it into :data:`WORLDS`. All amounts are invented, of the size that one meets under
a car.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from world import World, mixing_at_mouth, mixing_two_bores_in, speed_times_bore
from world import drawn as as_believed

from warmbranch.gas.combustion import burnt_gas

WORLDS: dict[str, Callable[[World], None]] = {}
"""By name; in the order in which they are told."""

ABSURD: set[str] = set()
"""Names of worlds that no fit is asked to survive."""

UNTUNED: set[str] = set()
"""Names of worlds that were written after all widths were chosen, and moved none."""


def world(name: str, *, absurd: bool = False, untuned: bool = False):
    def enter(change: Callable[[World], None]):
        WORLDS[name] = change
        for told, names in ((absurd, ABSURD), (untuned, UNTUNED)):
            if told:
                names.add(name)
        return change

    return enter


def drawn(name: str, rng: np.random.Generator) -> World:
    """A branch, a truth, and the world's changes to it."""
    own = as_believed(rng)
    WORLDS[name](own)
    return own


@world("its own (control)")
def control(own: World) -> None:
    """Nothing but what the model's priors say."""


@world("stirring ends abruptly")
def abrupt(own: World) -> None:
    end = own.rng.uniform(1.5, 4.0) * float(own.true.branch.bore[0])
    sharp = own.rng.uniform(3.0, 6.0)
    top = mixing_two_bores_in(own) * own.rng.uniform(1.0, 3.0)
    own.stirred = lambda x, model: top * np.exp(-((x / end) ** sharp))


def _zones(own: World, end: float, strength: float) -> None:
    edge = 0.5 * float(own.true.branch.bore[0])
    own.stirred = lambda x, model: strength / (1 + np.exp(np.clip((x - end) / edge, -40, 40)))


@world("two zones: mixed for 2 to 5 bores, then stagnant")
def zones(own: World) -> None:
    end = own.rng.uniform(2.0, 5.0) * float(own.true.branch.bore[0])
    _zones(own, end, own.rng.uniform(0.02, 0.1) * speed_times_bore(own))


@world("two zones: mixed for 15 to 60 % of the length, then stagnant")
def far_zones(own: World) -> None:
    """Farther in than flow past a mouth has been seen to stir; plausible all the same."""
    end = own.rng.uniform(0.15, 0.6) * own.length
    _zones(own, end, own.rng.uniform(0.045, 0.22) * speed_times_bore(own))


@world("stirring decays as a power")
def power(own: World) -> None:
    reach = float(own.true.closures.reach[0] * own.true.branch.bore[0])
    top = mixing_at_mouth(own)
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
    """Of which the owner says nothing, so that petrol is taken to burn."""
    own.fuel_told = False
    _other_gas(own)


def _other_gas(own: World) -> None:
    rng = own.rng
    fuel = str(rng.choice(["petrol", "diesel", "LPG", "methane"]))
    gas = burnt_gas(fuel, float(rng.uniform(0.9, 2.2)), float(rng.uniform(0.002, 0.025)))
    own.true = own.true.changed(gas=gas)


@world("another gas than petrol, which was told", untuned=True)
def not_the_fuel_told(own: World) -> None:
    _other_gas(own)


@world("gas 40 K off")
def gas_off(own: World) -> None:
    """Off what is told; in place of the error that a truth draws, not on top of it."""
    off = own.told.main_pipe.gas_temperature + float(own.rng.choice([-40.0, 40.0]))
    own.true = own.true.changed(main_pipe=own.true.main_pipe.changed(gas_temperature=off))


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


@world("paint of another emissivity")
def paint(own: World) -> None:
    own.paint = float(own.rng.choice([-1.2, 0.8]))  # 0.85 or 0.98 in place of 0.95


@world("spots a third larger than told")
def spots(own: World) -> None:
    own.spot = 0.75


@world("bare steel alone, of another emissivity")
def bare(own: World) -> None:
    own.kinds = (0.0, 1.0, 0.0)
    own.own = float(own.rng.choice([-0.8, 0.8]))
    odds = own.told.covering.emissivity / (1 - own.told.covering.emissivity) * np.exp(own.own)
    covering = own.true.covering.changed(emissivity=odds / (1 + odds))
    own.true = own.true.changed(covering=covering)


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
    top = mixing_at_mouth(own)
    own.stirred = lambda x, model: top * np.exp(-((x / reach) ** sharp))


@world("read and heard 4 minutes after the start, no time told", absurd=True)
def too_early(own: World) -> None:
    own.minutes = 4.0


@world("read and heard 10 minutes after the start, no time told")
def early(own: World) -> None:
    own.minutes = 10.0


@world("branch 10 mm longer or shorter than measured")
def mismeasured(own: World) -> None:
    off = 0.010 * float(own.rng.choice([-1.0, 1.0]))
    own.longer = off


@world("a wrap on the front third, not told", untuned=True)
def wrapped(own: World) -> None:
    own.film = lambda s: 0.35 + 0.65 / (1 + np.exp((1 / 3 - s) / 0.03))


@world("a bracket that takes heat off at mid-length", untuned=True)
def bracket(own: World) -> None:
    at, size = own.rng.uniform(0.3, 0.7), own.rng.uniform(2.0, 4.0)
    own.film = lambda s: 1 + size * np.exp(-(((s - at) / 0.04) ** 2))


@world("rain and spray all along", untuned=True)
def rain(own: World) -> None:
    factor = own.rng.uniform(1.5, 2.5)
    own.film = lambda s: factor + 0 * s


@world("half or twice the flow that was told", untuned=True)
def flow(own: World) -> None:
    pipe = own.true.main_pipe
    own.true = own.true.changed(
        main_pipe=pipe.changed(mass_flow=pipe.mass_flow * float(own.rng.choice([0.5, 2.0])))
    )


@world("a tachometer that shows 1 % too much or too little, to 50 rpm", untuned=True)
def tachometer(own: World) -> None:
    own.heard_over_true = 1 + float(own.rng.choice([-0.01, 0.01]))
    own.rpm_step = 50.0
