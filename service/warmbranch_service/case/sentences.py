"""Sentences for people: what the physics found, and what anyone who builds should know."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping

from warmbranch.base.constants import ICE_POINT
from warmbranch.steady.cautions import Finding
from warmbranch_service.contract.caution import Caution

Numbers = Mapping[str, float]


def _mm(metres: float) -> str:
    return f"{metres * 1e3:.3g} mm"


def _degrees(kelvin: float) -> str:
    return f"{kelvin - ICE_POINT:.0f} °C"


def _condensation(n: Numbers) -> str:
    dries = "and less as the gas dries" if n["heat_counted"] else "whose drying was left out"
    return (
        f"From {n['from_position'] * 1e3:.0f} mm on, acidic water condenses: there the wall, "
        f"{_degrees(n['coldest_wall'])} at the coldest, is below the gas's dew point, "
        f"{_degrees(n['dew_point'])} at the mouth {dries}. A rising branch drains back to the hot "
        "end; a falling one fills, corrodes and grows shorter."
    )


def _whistling(n: Numbers) -> str:
    return (
        f"Resonance {n['mode']:.0f} ({n['frequency']:.0f} Hz) lies where flow past a mouth can "
        f"make a closed branch whistle: f·d/U = {n['strouhal']:.2f} at {n['speed']:.0f} m/s. "
        "Listen at this engine speed; sharpen the upstream edge of the mouth or move the branch "
        "if it sings."
    )


def _whistling_weak(n: Numbers) -> str:
    return (
        f"Resonance {n['mode']:.0f} ({n['frequency']:.0f} Hz) lies in the weaker range of "
        f"whistling: f·d/U = {n['strouhal']:.2f} at {n['speed']:.0f} m/s."
    )


def _material_limit(n: Numbers) -> str:
    return (
        f"The wall reaches {_degrees(n['hottest_wall'])}, above what its metal bears for long "
        f"({_degrees(n['limit'])}). Choose another metal near the mouth."
    )


def _colder_mouth(n: Numbers) -> str:
    return (
        f"The gas ({_degrees(n['gas_temperature'])}) is colder than the air "
        f"({_degrees(n['air_temperature'])}), so the branch warms the gas. Check that both "
        "temperatures are meant."
    )


def _mouth_range(n: Numbers) -> str:
    return (
        f"The branch's bore is {n['radius_ratio']:.2f} of the main pipe's. No mouth correction is "
        "known beyond 1; the one at 1 is used. Give a fixed one if you measured it."
    )


def _mach(n: Numbers) -> str:
    return (
        f"The main pipe's gas moves at {n['speed']:.0f} m/s, Mach {n['mach']:.2f}. The acoustics "
        "neglects flow, which is fair below Mach 0.3. Check mass flow and pipe size."
    )


def _plane_wave(n: Numbers) -> str:
    if "main_pipe_bore" in n:
        return (
            f"The first resonance ({n['frequency']:.0f} Hz) lies above {n['cut_on']:.0f} Hz, where "
            f"waves across the main pipe's bore of {_mm(n['main_pipe_bore'])} can run too: they "
            "pass a branch that cancels the plane one. Do not trust the loss."
        )
    return (
        f"The highest resonance ({n['frequency']:.0f} Hz) lies above {n['cut_on']:.0f} Hz, where "
        "waves across the bore can run too. Do not trust it."
    )


def _short_piece(n: Numbers) -> str:
    return (
        f"Piece {n['piece']:.0f} is {_mm(n['length'])} long, shorter than the bore beside it "
        f"({_mm(n['bore'])}): what swings with its steps is less certain than usual, by some "
        "tenths of a percent of the tone."
    )


def _leaning(n: Numbers) -> str:
    way = "downstream" if n["lean"] > 0 else "upstream"
    return (
        f"The branch leans {math.degrees(abs(n['lean'])):.0f}° {way} from square. In one run of "
        "our own simulation a mouth that leans downstream by 45° let 2.7 times the heat through "
        "and was stirred some three times as much, which would raise this branch's tone by about "
        f"{n['least'] * 100:.2g} to {n['most'] * 100:.2g} %; nobody measured it. It is in the "
        "interval, not in the number: leave more to trim, and read the skin along the branch."
    )


def _leak(n: Numbers) -> str:
    return (
        f"A pinhole of {_mm(n['hole_diameter'])} in the cap would raise the first resonance by "
        f"about {n['relative_shift'] * 100:.2g} %. Make welds and cap gas-tight and test them."
    )


def _overdamped(n: Numbers) -> str:
    return (
        f"Losses at the wall leave no resonance number {n['mode']:.0f}. The bore is too narrow "
        "for it; a wider branch resonates."
    )


_GROUPS = {
    "rayleigh": ("natural convection", "Rayleigh number", 1),
    "reynolds": ("air across the branch", "Reynolds number", 1),
    "inverse_peclet": ("air across the branch", "Reynolds times Prandtl number", -1),
    "main_pipe_reynolds": ("the main pipe's inner film", "Reynolds number", 1),
}


def _range(n: Numbers) -> str:
    for name, (film, group, power) in _GROUPS.items():
        if name in n:
            side = "above" if power == 1 else "below"
            return (
                f"The correlation for {film} is used outside its range: {group} "
                f"{n[name] ** power:.2g}, {side} {n['bound'] ** power:.2g}. Temperatures are less "
                "certain than usual."
            )
    return "A correlation is used outside its range. Temperatures are less certain than usual."


_SENTENCES: dict[str, Callable[[Numbers], str]] = {
    "condensation": _condensation,
    "correlation_range": _range,
    "whistling": _whistling,
    "whistling_weak": _whistling_weak,
    "material_limit": _material_limit,
    "mouth_colder_than_air": _colder_mouth,
    "mouth_correction_range": _mouth_range,
    "mach_number": _mach,
    "plane_wave_limit": _plane_wave,
    "leak_sensitivity": _leak,
    "overdamped": _overdamped,
    "short_piece": _short_piece,
    "leaning_mouth": _leaning,
}

_FIELDS = {
    "branch.mouth_angle": "case.branch.mouth_angle_deg",
    "main_pipe.outside_diameter": "case.main_pipe.outside_diameter_mm",
    "main_pipe.gas_temperature": "case.main_pipe.gas_temperature_degC",
    "main_pipe.mass_flow": "case.main_pipe.mass_flow_kg_h",
}
"""Where a quantity of the physics stands in a request, when more than the prefix differs."""

SAFETY = (
    Caution(
        code="safety_hot_surfaces",
        message="Pipes burn skin long after the engine stops. An infrared thermometer may read "
        "far low on shiny metal: never use one to judge that a pipe is safe to touch. Let it "
        "cool, or wear gloves made for the heat.",
        field="",
    ),
    Caution(
        code="safety_carbon_monoxide",
        message="Exhaust gas kills unnoticed. Run the engine outdoors or with extraction, make "
        "every joint gas-tight and check it, and keep a carbon monoxide alarm in every cabin or "
        "room nearby.",
        field="",
    ),
    Caution(
        code="safety_welding",
        message="Leave welding to someone qualified: eyes, fumes (never weld zinc- or "
        "cadmium-plated metal) and electronics need protection. Follow the local rules for hot "
        "work.",
        field="",
    ),
    Caution(
        code="safety_fire",
        message="Keep the branch clear of fuel and brake lines, wiring, tank, underseal and dry "
        "grass, shield what is near, and look again after the first hot runs.",
        field="",
    ),
    Caution(
        code="safety_support",
        message="Work under a vehicle or machine only on rated stands on firm level ground, never "
        "on a jack alone. Hang the branch so that it neither shakes loose nor hinders expansion.",
        field="",
    ),
    Caution(
        code="safety_law",
        message="Noise, exhaust and tampering laws differ by place; nothing may be added ahead of "
        "sensors or catalysts unchecked. Local codes and licensed practice go before anything "
        "said here.",
        field="",
    ),
)
"""True of every branch; local codes and licensed practice go first."""


def caution_of(finding: Finding) -> Caution:
    """The sentence for one finding.

    A code that this file does not know yet still reaches the user, as its numbers in SI.
    """
    write = _SENTENCES.get(finding.code)
    if write is None:
        numbers = ", ".join(
            f"{name.replace('_', ' ')} {value:.4g}"
            for name, value in finding.numbers.items()
            if math.isfinite(value)
        )
        message = f"{finding.code.replace('_', ' ').capitalize()}: {numbers} (SI units)."
    else:
        message = write(finding.numbers)
    field = _FIELDS.get(finding.field, f"case.{finding.field}" if finding.field else "")
    return Caution(code=finding.code, message=message, field=field)


def cautions_of(findings: Iterable[Finding]) -> list[Caution]:
    """The sentences for all findings of one design, then those on safety."""
    return [*(caution_of(finding) for finding in findings), *SAFETY]
