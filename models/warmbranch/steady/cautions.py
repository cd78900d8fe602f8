"""What a user should know of an answer: ranges left, whistling, condensate, heat, leaks.

Findings carry a code and SI numbers; the sentences that people read are written by the service.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.case.closures import MouthModel
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.outside import film_in
from warmbranch.sound import acoustics

if TYPE_CHECKING:
    from warmbranch.steady.answer import Answer

STRONG_WHISTLE = (0.25, 0.65)
"""Strouhal numbers ``f d/U`` at which grazing flow may make a closed branch whistle strongly.

From memory, after Bruggeman et al., J. Sound Vib. 150 (1991) 371 and Ziada & Bühlmann, J. Fluids
Struct. 6 (1992) 583; a warning, not a prediction."""

WEAK_WHISTLE = (0.70, 1.10)
"""As ``STRONG_WHISTLE``, for the second hydrodynamic mode."""

STILL = 1e-6
"""m/s. Slower main flow makes no tone."""

HIGH_MACH = 0.3
"""Main-pipe Mach number beyond which neglecting flow in the acoustics is no longer fair."""

PLANE_WAVE = 1.8412
"""First zero of J₁′: across a round pipe, plane waves alone pass below ``1.84 c/(2π a)``."""

NATURAL_RAYLEIGH = 1e12
"""Highest Rayleigh number of the natural-convection correlations [ChurchillChu1975]."""

CROSS_FLOW_REYNOLDS = 1e7
"""Highest Reynolds number of the cross-flow correlation [ChurchillBernstein1977], from memory."""

CROSS_FLOW_PECLET = 0.2
"""Lowest Re Pr of the cross-flow correlation [ChurchillBernstein1977]."""

PIPE_REYNOLDS = 5e6
"""Highest Reynolds number of the pipe correlation [Gnielinski1976]."""

LEAN_RISE = (0.01, 0.03)
"""By how much the tone may lie above what is told where the mouth leans by 45°, relative: this
model with the exchange and the stirring that one run of our own simulation had there, from a gas of
150 °C to one of 400 °C. Goes with the lean; a caution, not a prediction."""

LEAST_LEAN = np.radians(5.0)
"""rad. Less is nothing to speak of."""

LEAK_DIAMETER = 1e-3
"""m. The pinhole in the cap whose cost is reported."""


@dataclass(frozen=True)
class Finding:
    """One thing to know.

    Parameters
    ----------
    code : str
        Stable identifier.
    numbers : dict of str to float
        SI values that the sentence needs; units by the name's meaning.
    field : str
        The input it hangs on, by its name in this package; empty when none.
    """

    code: str
    numbers: dict[str, float]
    field: str = ""


def findings(answer: Answer) -> tuple[tuple[Finding, ...], ...]:
    """All findings, one tuple a design."""
    films = _film_ranges(answer)
    leaks = leak_shift(answer)
    wet = _wet(answer)
    return tuple(
        tuple(_of_design(answer, i, films, float(leaks[i]), wet)) for i in range(len(answer))
    )


def _wet(answer: Answer) -> BoolArray:
    """Where a wall is below the dew point of the gas that gets there, which dries on its way.

    (designs, nodes). Where the drying is left out, the gas keeps the main pipe's dew point.
    """
    counted = answer.case.closures.condensation[:, None]
    if np.all(counted):
        return answer.condensing > 0
    return np.where(counted, answer.condensing > 0, answer.profile.wall < answer.dew_point[:, None])


def leak_shift(answer: Answer) -> FloatArray:
    r"""Relative rise of the first resonance by a pinhole in the cap, at low sound level.

    First-order perturbation: the hole's inertance :math:`\rho(t + 1.7 r)/S_h` against the
    compliance of the duct weighted by pressure squared,
    :math:`\delta f/f = 1/(2 \omega^2 L_h C)`.

    Returns
    -------
    (designs,) array, dimensionless
        NaN where there is no resonance.

    Source
    ------
    Rayleigh's principle; end correction 0.85 r a side, textbook.
    """
    duct, frequency = answer.duct, answer.resonance[:, 0]
    pressure, _ = acoustics.standing_wave(duct, answer.tone)
    relative = np.abs(pressure / pressure[:, -1:]) ** 2
    squared = (relative[:, 1:] + relative[:, :-1]) / 2
    compliance = np.sum(squared * duct.area[:, None] * duct.cell_length / duct.bulk_modulus, axis=1)
    hole = np.pi / 4 * LEAK_DIAMETER**2
    depth = answer.case.branch.cap_thickness + 1.7 * LEAK_DIAMETER / 2
    density = duct.density[:, -1] * duct.area_ratio[:, -1]  # the gas's own: see Duct
    inertance = density * depth / hole
    shift = 1 / (2 * (2 * np.pi * answer.tone) ** 2 * inertance * compliance)
    return np.where(np.isnan(frequency), np.nan, shift)


def _of_design(
    answer: Answer,
    i: int,
    films: list[tuple[str, FloatArray, float]],
    leak: float,
    wet: BoolArray,
) -> Iterator[Finding]:
    case, profile = answer.case, answer.profile
    hot = float(case.main_pipe.gas_temperature[i])
    air = float(case.surroundings.air_temperature[i])
    wall = profile.wall[i]
    if hot < air:
        yield Finding(
            "mouth_colder_than_air",
            {"gas_temperature": hot, "air_temperature": air},
            "main_pipe.gas_temperature",
        )
    if np.any(wet[i]):
        numbers = {
            "dew_point": float(answer.dew_point[i]),
            "coldest_wall": float(wall.min()),
            "from_position": float(profile.position[i][np.argmax(wet[i])]),
            "heat_counted": float(case.closures.condensation[i]),
        }
        yield Finding("condensation", numbers)
    limit = float(case.metal.limit_temperature[i])
    if wall.max() > limit:
        yield Finding(
            "material_limit", {"hottest_wall": float(wall.max()), "limit": limit}, "branch.material"
        )
    lean = float(case.branch.lean[i])
    if abs(lean) >= LEAST_LEAN:
        low, high = (share * abs(lean) / (np.pi / 4) for share in LEAN_RISE)
        numbers = {"lean": lean, "least": low, "most": high}
        yield Finding("leaning_mouth", numbers, "branch.mouth_angle")
    yield from _acoustic(answer, i, leak)
    for name, value, bound in films:
        if value[i] > bound:
            yield Finding("correlation_range", {name: float(value[i]), "bound": bound})


def _acoustic(answer: Answer, i: int, leak: float) -> Iterator[Finding]:
    case = answer.case
    bore, main = float(case.branch.bore[i]), float(case.main_pipe.bore[i])
    speed = float(answer.main_speed[i])
    mach = speed / float(answer.main_sound_speed[i])
    if mach > HIGH_MACH:
        yield Finding("mach_number", {"mach": mach, "speed": speed}, "main_pipe.mass_flow")
    side = case.closures.mouth_model[i] == MouthModel.SIDE_BRANCH
    if bore > main and side and np.isnan(case.closures.fixed_mouth_length[i]):
        yield Finding(
            "mouth_correction_range", {"radius_ratio": bore / main}, "closures.mouth_correction"
        )
    for mode, frequency in enumerate(answer.resonance[i], start=1):
        if np.isnan(frequency):
            yield Finding("overdamped", {"mode": float(mode)})
            continue
        strouhal = float(frequency) * bore / speed if speed > STILL else np.inf
        for code, (low, high) in (
            ("whistling", STRONG_WHISTLE),
            ("whistling_weak", WEAK_WHISTLE),
        ):
            if low <= strouhal <= high:
                yield Finding(
                    code,
                    {
                        "mode": float(mode),
                        "frequency": float(frequency),
                        "strouhal": float(strouhal),
                        "speed": speed,
                    },
                    "main_pipe.mass_flow",
                )
    yield from _steps(answer, i)
    widest = float(case.branch.tubes[1][i].max())
    cut_on = PLANE_WAVE * float(answer.sound_speed[i].min()) / (np.pi * widest)
    highest = float(np.nanmax(answer.resonance[i], initial=0.0))
    if highest > cut_on:
        yield Finding("plane_wave_limit", {"frequency": highest, "cut_on": cut_on})
    # What the branch is for is its first resonance: the main pipe must carry that one plane.
    main_bore = float(case.main_pipe.bore[i])
    main_cut_on = PLANE_WAVE * float(answer.main_sound_speed[i]) / (np.pi * main_bore)
    first = float(np.nan_to_num(answer.resonance[i, 0]))
    if first > main_cut_on:
        numbers = {"frequency": first, "cut_on": main_cut_on, "main_pipe_bore": main_bore}
        yield Finding("plane_wave_limit", numbers, "main_pipe.outside_diameter")
    if not np.isnan(leak):
        yield Finding("leak_sensitivity", {"relative_shift": leak, "hole_diameter": LEAK_DIAMETER})


def _steps(answer: Answer, i: int) -> Iterator[Finding]:
    """Pieces too short for the waves across a step to die away within them."""
    branch = answer.case.branch
    if not branch.stepped[i]:
        return
    bores, lengths = branch.tubes[1][i], branch.laid[0][i]
    for k in range(len(branch.pieces[i])):
        beside = bores[max(k - 1, 0) : k + 2]
        if np.any(beside != bores[k]) and lengths[k] < beside.max():
            numbers = {"piece": k + 1.0, "length": float(lengths[k]), "bore": float(beside.max())}
            yield Finding("short_piece", numbers, "branch.centreline")


def _film_ranges(answer: Answer) -> list[tuple[str, FloatArray, float]]:
    """Dimensionless groups of the films, by design, with the bounds they must not exceed."""
    case, air = answer.case, dry_air_table()
    widest = case.branch.tubes[0].max(axis=1) + 2 * case.covering.wrap_thickness
    around_it = [case.surroundings]
    if np.any(np.isfinite(case.surroundings.rear_from)):
        around_it.append(case.surroundings.rear)
    reports = [
        film_in(around, case, air, widest).range_report(answer.profile.skin) for around in around_it
    ]
    rayleigh = np.max([report.rayleigh_max for report in reports], axis=0)
    reynolds = np.max([report.reynolds_max for report in reports], axis=0)
    peclet = np.min([report.peclet_min for report in reports], axis=0)
    model = np.where(np.isnan(case.closures.fixed_outer_film), 1.0, np.nan)
    hot = case.main_pipe.gas_temperature[:, None]
    viscosity = MixtureTable.of(case.gas).evaluate(hot).viscosity[:, 0]
    inside = 4 * case.main_pipe.mass_flow / (np.pi * case.main_pipe.bore * viscosity)
    own_balance = np.where(np.isnan(case.main_pipe.skin_temperature), 1.0, np.nan)
    # Air that all but stands has a Péclet number whose inverse no double holds.
    slowest = np.maximum(peclet, np.finfo(np.float64).tiny)
    # A comparison with NaN is false: a film that is not used has no range to leave.
    return [
        ("rayleigh", rayleigh * model, NATURAL_RAYLEIGH),
        ("reynolds", reynolds * model, CROSS_FLOW_REYNOLDS),
        ("inverse_peclet", model / slowest, 1 / CROSS_FLOW_PECLET),
        ("main_pipe_reynolds", inside * own_balance, PIPE_REYNOLDS),
    ]
