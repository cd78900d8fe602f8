"""Sensitivities by the solved Jacobian, against differences of whole solutions on the same grid."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.case.case import Case
from warmbranch.gas.combustion import burnt_gas
from warmbranch.heat.newton import Tolerances
from warmbranch.steady import quick
from warmbranch.steady.linear_response import FOURTH_ORDER, Solution, respond
from warmbranch.steady.sensitivity import INPUTS, sensitivity
from warmbranch.steady.solve import solve

COARSER = 4.0
"""Steps of whole solutions over those of explicit formulas: wide enough for what Newton's method
leaves, some 1e-11 K, not to show; of fourth order, they leave too much at 8, where the counterflow
ends."""

CLOSER = Tolerances(step=1e-7, left=1e-12, imbalance=1e-12)
"""Of the solutions that are differenced: the usual ones leave 1e-8 K, which shows."""


def solve_closer(monkeypatch) -> None:
    """Have every solution end as that."""
    rules = quick._rules
    monkeypatch.setattr(quick, "_rules", lambda _: rules(CLOSER))


@pytest.fixture(scope="module")
def cases(make_case):
    """Every input has an effect in one of them, and none lies at a kink but the last: vapour's foot
    is bent anew at every node that it passes."""
    dry = partial(make_case, condensation=False)
    return {
        "bare": dry(rise=0.4, gas_temperature=650.0, air_speed=6.0, stanton=0.01),
        "wrapped": dry(
            rise=-0.3, gas_temperature=800.0, wrap_thickness=0.01, wrap_conductivity=0.06
        ),
        "given": dry(
            gas_temperature=600.0, skin_temperature=480.0, air_speed=3.0, rise=0.2,
            fixed_diffusivity=0.01, fixed_inner_film=14.0, fixed_outer_film=18.0,
            fixed_mouth_length=0.012,
        ),
        "resisting": dry(
            gas_temperature=600.0, mouth_exchange=0.05, stirring=0.3, reach=0.8,
            stirred_film=0.9, still_nusselt=5.78, air_speed=3.0, rise=0.2,
        ),
        "pulsating": dry(
            rise=0.3, gas_temperature=700.0, incident_pressure=2000.0, pulsation=0.1
        ),
        "condensing": make_case(rise=0.4, gas_temperature=650.0, incident_pressure=1000.0),
    }  # fmt: skip


def differenced(answer, one):
    """Derivatives along an input from four whole solutions on the answer's own grid."""
    case, value = answer.case, one.value(answer.case)
    step, total = COARSER * one.step, 0.0
    for place, weight in FOURTH_ORDER:
        moved = value * (1 + place * step) if one.relative else value + place * step
        there = one.apply(case, moved)
        longer = (there.branch.length / case.branch.length)[:, None]
        found = solve(there, position=answer.profile.position * longer, modes=1)
        profile = found.profile
        every = np.concatenate(
            [found.resonance[0], profile.gas[0], profile.wall[0], profile.skin[0]]
        )
        total = total + weight * every / (step * (value[0] if one.relative else 1.0))
    return total


@pytest.mark.parametrize(
    "kind", ["bare", "wrapped", "given", "resisting", "pulsating", "condensing"]
)
def test_every_input(cases, kind, monkeypatch):
    solve_closer(monkeypatch)
    answer = solve(cases[kind], modes=1)
    found = sensitivity(answer)
    seen = 0
    for i, one in enumerate(found.inputs):
        value = float(found.value[i, 0])
        if not np.isfinite(value) or (one.relative and value == 0):
            assert np.all(np.isnan(found.resonance[i])), one.name
            assert np.all(np.isnan(found.skin[i])), one.name
            continue
        seen += 1
        expected = differenced(answer, one)
        per_unit = abs(value) if one.relative else 1.0
        # To a millionth of the derivative, above what rounding leaves of an input of no effect:
        # 1e-9 of the tone, and 1e-7 K, for a change of the input by its own size; and above what
        # Newton's method may leave of the solutions that are differenced.
        tone = float(found.resonance[i, 0])
        near = 3e-4 if kind == "condensing" else 1e-6
        assert_allclose(tone, expected[0], rtol=near, atol=1e-9 * 80 / per_unit, err_msg=one.name)
        temperatures = np.concatenate([found.gas[i, 0], found.wall[i, 0], found.skin[i, 0]])
        largest = np.max(np.abs(expected[1:]))
        assert_allclose(
            temperatures, expected[1:], rtol=0,
            atol=near * largest + (1e-7 + CLOSER.left / (COARSER * one.step)) / per_unit,
            err_msg=one.name,
        )  # fmt: skip
    assert seen >= 21


def test_every_input_has_an_effect_somewhere(cases):
    sizes = np.zeros(len(INPUTS))
    for case in cases.values():
        found = sensitivity(solve(case, modes=1))
        unit = np.where([[one.relative] for one in found.inputs], found.value, 1.0)
        sizes = np.fmax(sizes, np.abs(found.resonance * unit)[:, 0])
    idle = [name for name, size in zip(INPUTS, sizes, strict=True) if not size > 1e-4]
    assert not idle


def test_a_uniform_branch_by_hand(make_case):
    """Without heat, losses and mouth: f = c/(4L), so d ln f/d ln L = −1."""
    even = {"gas_temperature": 400.0, "air_temperature": 400.0, "radiant_temperature": 400.0}
    answer = solve(make_case(**even, wall_losses=False, fixed_mouth_length=0.0))
    found = sensitivity(answer, ["branch.length", "main_pipe.gas_temperature"])
    first = answer.resonance[0, 0]
    assert_allclose(found.resonance[0, 0] * answer.length[0] / first, -1, rtol=1e-9)
    # The gas is warmed at the mouth alone and the tail hardly follows: less than √T, and positive.
    assert 0 < found.resonance[1, 0] * 400.0 / first < 0.5


def test_a_batch_is_its_designs(cases):
    both = Case.concatenate([cases["bare"], cases["wrapped"], cases["pulsating"]])
    found = sensitivity(solve(both, modes=1))
    for row, kind in enumerate(("bare", "wrapped", "pulsating")):
        alone = sensitivity(solve(cases[kind], modes=1))
        # The pulsating one is iterated until it agrees to 1e-10. What is nil alone is differenced
        # beside it: some ten units in the last place of the resonance, over the step of 1e-4.
        noise = 10 * np.finfo(float).eps * 100.0 / 1e-4
        assert_allclose(found.resonance[:, row], alone.resonance[:, 0], rtol=1e-7, atol=noise)


def test_what_the_gas_is_made_of_is_a_path_like_any_other(cases, monkeypatch):
    solve_closer(monkeypatch)
    case = cases["bare"]
    answer = solve(case, modes=1)

    def leaner(offset):
        return replace(case, gas=burnt_gas("petrol", 1.2 + offset))

    start = solve(leaner(0.0), modes=1)
    found = respond(Solution.of(start), [leaner], [1e-3]).resonance[0, 0]
    total = sum(
        weight * solve(leaner(place * 1e-3), position=start.profile.position).resonance[0, 0] / 1e-3
        for place, weight in FOURTH_ORDER
    )
    assert_allclose(found, total, rtol=1e-6)
    assert answer.resonance[0, 0] != start.resonance[0, 0]


def test_it_holds_on_the_numpy_path_too(cases, monkeypatch):
    monkeypatch.setenv("WARMBRANCH_KERNEL", "off")
    answer = solve(cases["bare"], modes=1)
    found = sensitivity(answer, ["main_pipe.gas_temperature", "branch.length"])
    for i, one in enumerate(found.inputs):
        assert_allclose(found.resonance[i, 0], differenced(answer, one)[0], rtol=1e-6)
