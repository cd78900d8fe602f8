"""What a mouth that resists, and what came after it, changed: ten designs, step by step.

    python tests/benchmarks/before_and_after.py

Before, the gas crossed the mouth without resistance, stirring reached ten bores in, and the film
was that of gas that flows through plus a Stanton number on the mixing; the main pipe's flow took
nothing of the mouth's mass, the gas was transparent and kept its water. Each column adds one
change, so that its number is what that change moved the quiet tone by; the last two are the 90 %
intervals, half their width over the tone, from the closures alone, by 1,024 draws. A second table
tells what the same draws say of the gas just inside the mouth and two bores in.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[1])]  # for shared

from shared.mouths import open_mouth
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.draws import standard_normal
from warmbranch.belief.unknown import Spreads, log_spread
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.case.case import Case
from warmbranch.case.closures import STANTON, STILL_NUSSELT, Closures, Prior
from warmbranch.case.one_case import one_case
from warmbranch.steady.answer import Answer
from warmbranch.steady.solve import solve

DRAWS = 1024
BEFORE = {"stirring": Prior(0.15, 0.03, 0.8), "reach": Prior(10.0, 4.0, 40.0), "stanton": STANTON}
"""The priors of the former closures that these replace."""

OTHERS = ("outer_film_factor", "mouth_factor", "tone", "emissivity")
"""Unknowns that were there before and still are; the gas and the air are taken as known."""

DESIGNS = (
    # bore m, length m, gas K, kg/s, rise
    (0.0478, 1.03, 423.15, 60 / 3600, 0.0),
    (0.0478, 1.03, 548.15, 60 / 3600, 0.0),
    (0.0478, 1.03, 673.15, 60 / 3600, 0.0),
    (0.0453, 1.18, 583.15, 95 / 3600, 0.0),
    (0.0453, 0.60, 583.15, 95 / 3600, 0.0),
    (0.0226, 0.50, 600.0, 20 / 3600, 0.0),
    (0.0838, 2.00, 700.0, 600 / 3600, 0.0),
    (0.0563, 2.50, 693.15, 285 / 3600, np.pi / 2),
    (0.0478, 1.03, 673.15, 60 / 3600, -np.pi / 2),
    (0.0478, 1.03, 900.0, 150 / 3600, 0.3),
)


def case_of(bore: float, length: float, hot: float, flow: float, rise: float) -> Case:
    """A bare stainless branch on a pipe a fifth wider, in air at 20 °C that moves at 2 m/s."""
    return one_case(
        outside_diameter=bore + 0.003,
        wall_thickness=0.0015,
        length=length,
        main_outside_diameter=1.2 * bore + 0.003,
        main_wall_thickness=0.0015,
        gas_temperature=hot,
        mass_flow=flow,
        rise=rise,
        air_temperature=293.15,
        air_speed=2.0,
    )


def steps() -> dict[str, Closures]:
    """The closures after each change."""
    default, none = Closures.default(), np.zeros(1)
    before = open_mouth().changed(mouth_flow=none)
    still = before.changed(still_nusselt=STILL_NUSSELT * np.ones(1))
    short = still.changed(stirring=default.stirring, reach=default.reach)
    film = short.changed(stanton=default.stanton, stirred_film=default.stirred_film)
    flow = film.changed(mouth_exchange=default.mouth_exchange, tone_exchange=none)
    return {
        "before": before,
        "still film": still,
        "short stirring": short,
        "stirred film": film,
        "mouth, by flow": flow,
        "mouth, with a tone": (
            tone := default.changed(mouth_flow=none, gas_radiation=none, condensation=none != 0)
        ),
        "flow and the mouth's mass": (mass := tone.changed(mouth_flow=default.mouth_flow)),
        "gas that radiates": mass.changed(gas_radiation=default.gas_radiation),
        "water that condenses": default,
    }


def quantiles(values: np.ndarray) -> np.ndarray:
    """5, 50 and 95 %."""
    return np.nanquantile(values, [0.05, 0.5, 0.95])


def half_width(answer: Answer) -> float:
    """Half of the 90 % interval of the first resonance, over its median."""
    low, middle, high = quantiles(answer.resonance[:, 0])
    return float((high - low) / 2 / middle)


def excess(answer: Answer, bores: float) -> str:
    """The gas over the air, over the main gas over the air, so many bores in: median and 90 %."""
    profile, case = answer.profile, answer.case
    pairs = zip(profile.position, profile.gas, bores * case.branch.bore, strict=True)
    gas = np.array([np.interp(place, x, row) for x, row, place in pairs])
    air = case.surroundings.air_temperature
    low, middle, high = quantiles((gas - air) / (case.main_pipe.gas_temperature - air))
    return f"{middle:.2f} ({low:.2f} to {high:.2f})"


def drawn_before(case: Case) -> Case:
    """Of the former priors."""
    rest = Calibration.prior(case, Spreads())
    names = tuple(name for name in rest.names if name in OTHERS)
    places = [rest.names.index(name) for name in names]
    z = standard_normal(DRAWS, len(places) + len(BEFORE))
    coordinates = rest.mean[places] + z[:, : len(places)] * rest.spread[places]
    many = with_unknowns(case, names, coordinates)
    values = {
        name: prior.median * np.exp(log_spread(prior) * z[:, len(places) + i])
        for i, (name, prior) in enumerate(BEFORE.items())
    }
    return replace(many, closures=many.closures.changed(**values))


def drawn_after(case: Case) -> Case:
    """Of today's."""
    known = frozenset({"gas_temperature", "air_temperature", "mass_flow"})
    prior = Calibration.prior(case, Spreads(fixed=known))
    return with_unknowns(case, prior.names, prior.draws(DRAWS))


def solved(case: Case) -> tuple[Answer, Answer]:
    """By draws of the priors, before and after."""
    before, after = drawn_before(replace(case, closures=open_mouth())), drawn_after(case)
    return solve(before, nodes=33, modes=1), solve(after, nodes=33, modes=1)


def main() -> None:
    """Print both tables."""
    names = list(steps())
    print(
        "| design | before, Hz | " + " | ".join(names[1:]) + " | after, Hz | ± before | ± after |"
    )
    print("|" + " --- |" * (len(names) + 4))
    insides = []
    for numbers in DESIGNS:
        case = case_of(*numbers)
        tones = [
            solve(replace(case, closures=closures), modes=1).resonance[0, 0]
            for closures in steps().values()
        ]
        moved = [f"{100 * (b / a - 1):+.1f} %" for a, b in pairwise(tones)]
        before, after = solved(case)
        bore, length, hot, _, rise = numbers
        what = f"{bore * 1e3:.0f} mm, {length:g} m, {hot - 273.15:.0f} °C"
        what += "" if rise == 0 else f", rises {np.degrees(rise):.0f}°"
        print(
            f"| {what} | {tones[0]:.2f} | {' | '.join(moved)} | {tones[-1]:.2f} "
            f"| {100 * half_width(before):.1f} % | {100 * half_width(after):.1f} % |"
        )
        told = [excess(answer, bores) for bores in (0, 2) for answer in (before, after)]
        insides.append(f"| {what} | {' | '.join(told)} |")
    print("\nThe gas's excess over the air, over the main gas's: median and 90 % of the draws.\n")
    print("| design | at the mouth, before | after | two bores in, before | after |")
    print("|" + " --- |" * 5, *insides, sep="\n")


if __name__ == "__main__":
    main()
