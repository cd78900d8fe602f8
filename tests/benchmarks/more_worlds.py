"""More worlds, written after the fit was settled: what else is otherwise under a car.

They enter the registry of ``worlds.py``. Each has one fault of the size that one meets, but for the
mixture at the end; amounts are our judgement unless a comment says where they are from.
"""

from __future__ import annotations

import numpy as np
from world import World, mixing_two_bores_in
from worlds import world

from warmbranch.base.constants import STEFAN_BOLTZMANN
from warmbranch.case.case import Case
from warmbranch.case.materials import metal


def _over(s: np.ndarray, edge: float, width: float = 0.03) -> np.ndarray:
    """From 0 to 1 at ``edge``, over the length."""
    return 1 / (1 + np.exp(np.clip((edge - s) / width, -40, 40)))


def _pipe_gas(case: Case, factor: float, flow: float = 1.0) -> Case:
    """A case whose main gas has another excess over the air, and another flow."""
    pipe, air = case.main_pipe, case.surroundings.air_temperature
    hot = air + factor * (pipe.gas_temperature - air)
    return case.changed(
        main_pipe=pipe.changed(gas_temperature=hot, mass_flow=flow * pipe.mass_flow)
    )


def _in_air(case: Case, warmer: float, radiant: float = 0.0) -> Case:
    """A case in other air, and what it radiates to besides ``radiant`` K warmer than that air."""
    outside = case.surroundings
    air = outside.air_temperature + warmer
    return case.changed(
        surroundings=outside.changed(air_temperature=air, radiant_temperature=air + radiant)
    )


def _blown(case: Case, speed: float) -> Case:
    outside = case.surroundings
    return case.changed(surroundings=outside.changed(air_speed=np.array([speed])))


@world("the main pipe runs beside the front part", untuned=True)
def beside(own: World) -> None:
    """View of a parallel pipe of about its width: 0.18 at touch to 0.1 a diameter away, the mean
    round the branch, by crossed strings; less as it bends away."""
    view, reach = own.rng.uniform(0.08, 0.18), own.rng.uniform(0.25, 0.5)
    case, edge = own.true, 0.08
    black = float(case.main_pipe.emissivity[0] * case.covering.emissivity[0])
    cold = float(case.surroundings.radiant_temperature[0])

    def gain(s: np.ndarray, wall: float) -> np.ndarray:
        return view * black * STEFAN_BOLTZMANN * (wall**4 - cold**4) * (1 - _over(s, reach, edge))

    own.gain = gain


@world("air under the car 30 K warmer or 25 K colder than told", untuned=True)
def other_air(own: World) -> None:
    """In place of the error that a truth draws; the gas is as hot as it was."""
    off = float(own.rng.choice([-25.0, 30.0]))
    told = own.told.surroundings.air_temperature
    own.true = _in_air(own.true, off + float((told - own.true.surroundings.air_temperature)[0]))


@world("a heat shield above, 30 to 80 K warmer than the air", untuned=True)
def shield(own: World) -> None:
    """Half of what the branch sees."""
    hot = own.true.surroundings.air_temperature + own.rng.uniform(30.0, 80.0)
    cold = own.true.surroundings.air_temperature
    mean = float((((hot**4 + cold**4) / 2) ** 0.25 - cold)[0])
    own.true = _in_air(own.true, 0.0, mean)


@world("tube wall 1 or 2 mm, told 1.5", untuned=True)
def gauge(own: World) -> None:
    """The outside was measured, so the bore is another, too."""
    wall = np.array([float(own.rng.choice([1.0e-3, 2.0e-3]))])
    own.true = own.true.changed(branch=own.true.branch.changed(wall_thickness=wall))


@world("told stainless 304, is mild steel or 409", untuned=True)
def other_metal(own: World) -> None:
    own.true = own.true.changed(metal=metal(str(own.rng.choice(["mild steel", "stainless 409"]))))


@world("the outside diameter was told as the bore", untuned=True)
def outside_as_bore(own: World) -> None:
    """Told tube that much wider, with its wall as it is."""
    branch = own.true.branch
    narrower = branch.outside_diameter - 2 * branch.wall_thickness
    own.true = own.true.changed(branch=branch.changed(outside_diameter=narrower))


@world("the gas's excess over the air 0.8 or 1.25 times what was told", untuned=True)
def other_gas_temperature(own: World) -> None:
    """Told too low by who measured the pipe's skin; in place of the error that a truth draws."""
    off = _pipe_gas(own.told, float(own.rng.choice([0.8, 1.25]))).main_pipe.gas_temperature
    own.true = own.true.changed(main_pipe=own.true.main_pipe.changed(gas_temperature=off))


@world("a cap that leaks 0.02 to 0.1 % of the flow", untuned=True)
def leaking(own: World) -> None:
    """A hole of half a millimetre to a bit over one, at 1 kPa. Gas that blows out of it at tens of
    m/s makes it resist, so that it takes from the notch's depth, not from the tone."""
    own.through = float(np.exp(own.rng.uniform(*np.log([2e-4, 1e-3]))))


@world("the cap touches the body", untuned=True)
def heat_sink(own: World) -> None:
    size = own.rng.uniform(4.0, 12.0)
    own.film = lambda s: 1 + size * _over(s, 0.92, 0.01)


@world("read 1 to 3 minutes after the engine was switched off", untuned=True)
def switched_off(own: World) -> None:
    own.stopped = 3.0


@world("two readings of other spots", untuned=True)
def two_misplaced(own: World) -> None:
    def moved(x: np.ndarray) -> np.ndarray:
        new = x.copy()
        which = own.rng.choice(len(x), size=2, replace=False)
        new[which] = own.rng.uniform(0.06, 0.98, 2) * own.length
        return new

    own.misplaced = moved


@world("all positions from the flange, 15 to 25 mm short", untuned=True)
def from_flange(own: World) -> None:
    off = own.rng.uniform(0.015, 0.025)
    own.misplaced = lambda x: x + off


@world("a tone that wanders 2 %, claimed ±1 %", untuned=True)
def wandering(own: World) -> None:
    own.listening = 0.02


@world("inner film 0.6 or 1.6 times, all along", untuned=True)
def inner_film(own: World) -> None:
    """A corrugated hose or a swirl, and a stagnant core or scale; in place of the error that a
    truth draws of what stirring adds to it."""
    factor, closures, told = float(own.rng.choice([0.6, 1.6])), own.true.closures, own.told.closures
    own.true = own.true.changed(
        closures=closures.changed(
            still_nusselt=factor * told.still_nusselt, stirred_film=factor * told.stirred_film
        )
    )


@world("skin from shiny at the mouth to rusty at the cap, or back", untuned=True)
def tinted(own: World) -> None:
    """Told as it is on the whole; who reads the bare skin sees what is there."""
    first, last = own.rng.permutation([0.45, 0.85])
    own.surface = lambda s: first + (last - first) * s
    for name in ("told", "true"):
        case = getattr(own, name)
        covering = case.covering.changed(emissivity=np.array([0.65]))
        setattr(own, name, case.changed(covering=covering))


@world("mouth exchange half or 2.5 times, by a bend or a collector before it", untuned=True)
def disturbed_mouth(own: World) -> None:
    factor, closures = float(own.rng.choice([0.5, 2.5])), own.true.closures
    own.true = own.true.changed(
        closures=closures.changed(mouth_exchange=factor * closures.mouth_exchange)
    )


@world("a tone 0.4 or 2.5 times as strong", untuned=True)
def other_level(own: World) -> None:
    factor, pipe = float(own.rng.choice([0.4, 2.5])), own.true.main_pipe
    louder = pipe.changed(cap_pressure=factor * pipe.cap_pressure)
    own.true = own.true.changed(main_pipe=louder)


@world("stirring strongest three to six bores in", untuned=True)
def swirl(own: World) -> None:
    bore = float(own.true.branch.bore[0])
    middle, width = own.rng.uniform(3.0, 6.0) * bore, own.rng.uniform(1.0, 2.0) * bore
    top = mixing_two_bores_in(own) * own.rng.uniform(0.5, 2.0)
    own.stirred = lambda x, model: model + top * np.exp(-(((x - middle) / width) ** 2))


@world("a wrap on the rear half, not told", untuned=True)
def wrapped_rear(own: World) -> None:
    """Lifted where it is read."""
    own.film = lambda s: 1 - 0.65 * _over(s, 0.5)


@world("read at idle, gas 80 K colder and half the flow")
def at_idle(own: World) -> None:
    """The gas was told as of the engine speed that drones, which was heard. Gas that has little
    more than 80 K over the air keeps six tenths of them."""

    def idling(case: Case) -> Case:
        excess = float((case.main_pipe.gas_temperature - case.surroundings.air_temperature)[0])
        return _pipe_gas(case, max(1 - 80.0 / excess, 0.6), 0.5)

    own.as_read = idling


@world("read at idle, half of the gas's excess and a third of the flow")
def cold_idle(own: World) -> None:
    """As after a motorway."""
    own.as_read = lambda case: _pipe_gas(case, 0.5, 0.3)


@world("read standing still, the wind of the drive told")
def standing(own: World) -> None:
    speed = own.rng.uniform(5.0, 15.0)
    own.told, own.true = _blown(own.told, speed), _blown(own.true, speed)
    still = own.rng.uniform(0.3, 1.0)
    own.as_read = lambda case: _blown(case, still)


@world("read standing still at idle, the wind and the gas of the drive told", untuned=True)
def standing_at_idle(own: World) -> None:
    standing(own)
    still = own.as_read
    at_idle(own)
    idling = own.as_read
    own.as_read = lambda case: idling(still(case))


@world("read standing still, and said so", untuned=True)
def said_standing(own: World) -> None:
    standing(own)
    own.says_how_read = True


@world("read at idle, gas 80 K colder and half the flow, and said so", untuned=True)
def said_idle(own: World) -> None:
    at_idle(own)
    own.says_how_read = True


@world("read by contact alone, probe 10 % of the excess low", untuned=True)
def cold_probe(own: World) -> None:
    """A bead pressed to a tube is a fin that cools the spot: 5 to 15 % is common."""
    own.kinds, own.probe = (0.0, 0.0, 1.0), 0.90


@world("a bare skin that mirrors the hot main pipe")
def mirroring(own: World) -> None:
    """As if all that it mirrors were 30 to 80 K warmer: a pipe at 500 K in a tenth to a fifth of
    the view. Half of the readings are of the bare skin."""
    own.kinds, own.mirrored = (0.25, 0.5, 0.25), own.rng.uniform(30.0, 80.0)


@world("second mixture of moderate faults", untuned=True)
def second_mixture(own: World) -> None:
    rng = own.rng
    own.true = _in_air(_pipe_gas(own.true, np.exp(0.07 * rng.normal())), 8 * rng.normal())
    branch, closures = own.true.branch, own.true.closures
    wall = np.array([float(rng.choice([1.2e-3, 1.5e-3, 2.0e-3]))])
    own.true = own.true.changed(
        branch=branch.changed(wall_thickness=wall),
        closures=closures.changed(
            still_nusselt=closures.still_nusselt * np.exp(0.15 * rng.normal()),
            mouth_exchange=closures.mouth_exchange * np.exp(0.3 * rng.normal()),
        ),
    )
    own.longer = 0.004 * rng.normal()
    off = 0.006 * rng.normal() + 0.004 * rng.normal(size=100)
    own.misplaced = lambda x: x + off[: len(x)]
    own.probe, own.spot = 1 - 0.05 * abs(rng.normal()), rng.uniform(0.9, 1.0)
    own.heard_over_true, own.listening = 1 + 0.007 * rng.normal(), 0.013
