"""One case in a few words: what must be given, everything else as it usually is.

The records of this room have no defaults of their own. These are the ones; a test holds them to
those of the service. And since SI is not what a tape, a gauge or an engine says, ``one_case`` holds
each number to the admissible box and asks about the usual slip where one lies outside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple, cast

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import ICE_POINT
from warmbranch.base.errors import InputError
from warmbranch.case.case import Case
from warmbranch.case.closures import CAP_PRESSURE, PULSATION_AUGMENTATION, Closures
from warmbranch.case.geometry import Branch, Piece
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import metal as named_metal
from warmbranch.case.surfaces import surface
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.gas.combustion import LEANEST, RICHEST, burnt_gas, humidity_from_relative
from warmbranch.gas.gas import Composition

AIR_TEMPERATURE = 293.15
PRESSURE = 101325.0
RELATIVE_HUMIDITY = 0.5
METAL = "stainless 304"
SURFACE = "weathered stainless"
FUEL = "petrol"

HARDLY_WARM = 373.15
"""K. Hot pipes are hotter than boiling water: what lies between the air and this is asked about."""

SLACK = 1e-9
"""Relative: a bound that was converted is met, not missed by its last bit."""


class Slip(NamedTuple):
    """A unit that a number may have been in by mistake."""

    name: str
    scale: float
    offset: float = 0.0


MILLIMETRES = (Slip("mm", 1e-3), Slip("inches", 0.0254))
CELSIUS = (Slip("°C", 1.0, ICE_POINT),)


class Range(NamedTuple):
    """What is admitted of one field, and how it may have slipped."""

    low: float
    high: float
    unit: str
    slips: tuple[Slip, ...] = ()


BOX = {
    "outside_diameter": Range(0.015, 0.150, "m", MILLIMETRES),
    "wall_thickness": Range(0.5e-3, 5e-3, "m", MILLIMETRES),
    "length": Range(0.015, 6.0, "m", MILLIMETRES),
    "cap_thickness": Range(0.3e-3, 20e-3, "m", MILLIMETRES),
    "rise": Range(-math.pi / 2, math.pi / 2, "rad", (Slip("degrees", math.pi / 180),)),
    "emissivity": Range(0.0, 1.0, "1", (Slip("percent", 0.01),)),
    "wrap_thickness": Range(0.0, 0.050, "m", MILLIMETRES),
    "wrap_conductivity": Range(0.02, 1.0, "W/(m K)", (Slip("mW/(m K)", 1e-3),)),
    "main_outside_diameter": Range(0.015, 0.600, "m", MILLIMETRES),
    "main_wall_thickness": Range(0.5e-3, 12e-3, "m", MILLIMETRES),
    "gas_temperature": Range(233.15, 1273.15, "K", CELSIUS),
    "main_skin_temperature": Range(233.15, 1273.15, "K", CELSIUS),
    "mass_flow": Range(0.0, 20000 / 3600, "kg/s", (Slip("kg/h", 1 / 3600), Slip("g/s", 1e-3))),
    "main_emissivity": Range(0.0, 1.0, "1", (Slip("percent", 0.01),)),
    "incident_pressure": Range(0.0, 20e3, "Pa"),
    "cap_pressure": Range(0.0, 20e3, "Pa"),
    "excess_air_ratio": Range(RICHEST, LEANEST, "1", (Slip("air-fuel ratio", 1 / 14.7),)),
    "air_temperature": Range(233.15, 333.15, "K", CELSIUS),
    "radiant_temperature": Range(233.15, 673.15, "K", CELSIUS),
    "pressure": Range(50e3, 200e3, "Pa", (Slip("kPa", 1e3), Slip("bar", 1e5))),
    "air_speed": Range(0.0, 60.0, "m/s", (Slip("km/h", 1 / 3.6), Slip("mph", 0.44704))),
    "rear_from": Range(0.0, 6.0, "m", MILLIMETRES),
    "rear_air_temperature": Range(233.15, 333.15, "K", CELSIUS),
    "rear_radiant_temperature": Range(233.15, 673.15, "K", CELSIUS),
    "rear_air_speed": Range(0.0, 60.0, "m/s", (Slip("km/h", 1 / 3.6), Slip("mph", 0.44704))),
}
"""The admissible box in SI, by the names of ``one_case``."""


def one_case(
    *,
    outside_diameter: float,
    wall_thickness: float,
    main_outside_diameter: float,
    main_wall_thickness: float,
    gas_temperature: float,
    mass_flow: float,
    length: float | None = None,
    pieces: Sequence[Piece] | None = None,
    cap_thickness: float | None = None,
    rise: float = 0.0,
    metal: str = METAL,
    emissivity: float | None = None,
    wrap_thickness: float = 0.0,
    wrap_conductivity: float = 1.0,
    main_skin_temperature: float | None = None,
    main_emissivity: float | None = None,
    incident_pressure: float = 0.0,
    cap_pressure: float = CAP_PRESSURE.median,
    fuel: str = FUEL,
    excess_air_ratio: float = 1.0,
    gas: Composition | None = None,
    air_temperature: float = AIR_TEMPERATURE,
    radiant_temperature: float | None = None,
    pressure: float = PRESSURE,
    air_speed: float = 0.0,
    rear_from: float | None = None,
    rear_air_temperature: float | None = None,
    rear_radiant_temperature: float | None = None,
    rear_air_speed: float = 0.0,
    closures: Closures | None = None,
    hardly_warm: bool = False,
) -> Case:
    """A case of one design; vary it with ``repeat`` and ``dataclasses.replace``.

    Parameters
    ----------
    outside_diameter, wall_thickness, main_outside_diameter, main_wall_thickness : float, m
    gas_temperature : float, K
        Of the main pipe's gas, at the mouth.
    mass_flow : float, kg/s
        In the main pipe.
    length : float, m
        Of a straight branch; or else ``pieces``, from mouth to cap.
    cap_thickness : float, m
        As the wall when left out.
    rise : float, rad
    metal, fuel : str
        Names in ``METALS`` and ``FUELS``.
    emissivity, main_emissivity : float
        Of weathered stainless when left out.
    wrap_thickness : float, m
    wrap_conductivity : float, W/(m K)
    main_skin_temperature : float, K
        From the main pipe's own heat balance when left out.
    incident_pressure, cap_pressure : float, Pa
        See ``MainPipe``.
    gas : Composition
        In place of what ``fuel`` leaves at ``excess_air_ratio``.
    air_temperature, radiant_temperature : float, K
        The latter as the former when left out.
    pressure : float, Pa
    air_speed : float, m/s
    rear_from : float, m
        From the mouth: what is around the branch behind it, where that differs. Temperatures left
        out are those of the front, or the rear's own air.
    rear_air_temperature, rear_radiant_temperature : float, K
    rear_air_speed : float, m/s
    closures : Closures
    hardly_warm : bool
        Whether gas between the air's temperature and 100 °C is meant.

    Raises
    ------
    InputError
        For a number outside the admissible box, with a question where a unit has slipped.

    >>> case = one_case(
    ...     outside_diameter=0.0483, wall_thickness=1.5e-3, length=1.2, gas_temperature=583.15,
    ...     main_outside_diameter=0.0603, main_wall_thickness=1.5e-3, mass_flow=0.026)
    >>> float(case.surroundings.pressure[0])
    101325.0
    """
    radiant = air_temperature if radiant_temperature is None else radiant_temperature
    cap = wall_thickness if cap_thickness is None else cap_thickness
    usual = surface(SURFACE).emissivity
    if (length is None) == (pieces is None):
        raise InputError(
            "The branch's length is given twice or nowhere.",
            field="length",
            value=length,
            unit="m",
            remedy="Give either length or pieces.",
        )
    along = math.fsum(piece.length for piece in pieces or ()) if length is None else length
    numbers = {
        "outside_diameter": outside_diameter,
        "wall_thickness": wall_thickness,
        "length": along,
        "cap_thickness": cap,
        "rise": rise,
        "emissivity": usual if emissivity is None else emissivity,
        "wrap_thickness": wrap_thickness,
        "wrap_conductivity": wrap_conductivity,
        "main_outside_diameter": main_outside_diameter,
        "main_wall_thickness": main_wall_thickness,
        "gas_temperature": gas_temperature,
        "main_skin_temperature": main_skin_temperature,
        "mass_flow": mass_flow,
        "main_emissivity": usual if main_emissivity is None else main_emissivity,
        "incident_pressure": incident_pressure,
        "cap_pressure": cap_pressure,
        "excess_air_ratio": excess_air_ratio,
        "air_temperature": air_temperature,
        "radiant_temperature": radiant,
        "pressure": pressure,
        "air_speed": air_speed,
        "rear_from": rear_from,
        "rear_air_temperature": rear_air_temperature,
        "rear_radiant_temperature": rear_radiant_temperature,
        "rear_air_speed": rear_air_speed,
    }
    for name, value in numbers.items():
        if value is not None:
            _hold(name, float(value))
    if not hardly_warm and air_temperature + 1 < gas_temperature < HARDLY_WARM:
        raise _asked("gas_temperature", gas_temperature, CELSIUS[0], "hardly warm")
    if gas is None:
        moist = humidity_from_relative(RELATIVE_HUMIDITY, air_temperature, pressure)
        gas = burnt_gas(fuel, excess_air_ratio, moist)

    def one(value: float) -> FloatArray:
        return np.array([value], dtype=np.float64)

    rear: list[FloatArray] = []
    if rear_from is not None:
        own_air = air_temperature if rear_air_temperature is None else rear_air_temperature
        faced = rear_radiant_temperature
        if faced is None:
            faced = own_air if radiant_temperature is None else radiant
        rear = [one(value) for value in (rear_from, own_air, faced, rear_air_speed)]
    return Case(
        branch=Branch(
            one(outside_diameter),
            one(wall_thickness),
            one(cap),
            (tuple(pieces) if pieces is not None else (Piece(along),),),
            one(rise),
        ),
        metal=named_metal(metal),
        covering=Covering(
            one(cast("float", numbers["emissivity"])), one(wrap_thickness), one(wrap_conductivity)
        ),
        main_pipe=MainPipe(
            one(main_outside_diameter),
            one(main_wall_thickness),
            one(gas_temperature),
            one(math.nan if main_skin_temperature is None else main_skin_temperature),
            one(mass_flow),
            one(cast("float", numbers["main_emissivity"])),
            one(PULSATION_AUGMENTATION.median),
            one(incident_pressure),
            one(cap_pressure),
        ),
        gas=gas,
        surroundings=Surroundings(
            one(air_temperature), one(radiant), one(pressure), one(air_speed), *rear
        ),
        closures=Closures.default() if closures is None else closures,
    )


def _hold(name: str, value: float) -> None:
    """Refuse what lies outside the box."""
    low, high, unit, slips = BOX[name]
    if _within(value, low, high):
        return
    outside = f"{value:g}{_after(unit)} lies outside {low:g} to {high:g}{_after(unit)}."
    for slip in slips:
        meant = value * slip.scale + slip.offset
        if _within(meant, low, high):
            raise _asked(name, value, slip, outside)
    raise InputError(
        outside,
        field=name,
        value=value,
        unit=unit,
        remedy=f"Give a number from {low:g} to {high:g}.",
    )


def _within(value: float, low: float, high: float) -> bool:
    return low - SLACK * abs(low) <= value <= high + SLACK * abs(high)


def _asked(name: str, value: float, slip: Slip, why: str) -> InputError:
    """The refusal of what was probably given in another unit."""
    unit = BOX[name].unit
    meant = value * slip.scale + slip.offset
    if why == "hardly warm":
        why = f"{value:g} K is {value - ICE_POINT:.3g} °C, hardly warm."
        more = " If it is meant, say hardly_warm=True."
    else:
        more = ""
    return InputError(
        why,
        field=name,
        value=value,
        unit=unit,
        remedy=f"Did you give {slip.name}? {value:g} {slip.name} is {meant:.6g}{_after(unit)}."
        + more,
    )


def _after(unit: str) -> str:
    return "" if unit == "1" else f" {unit}"
