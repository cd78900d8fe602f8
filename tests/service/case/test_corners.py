"""Corners of the admissible box: each a physical answer, or a refusal by a rule that is stated.

Every number of a request is at one of its ends, all at once, which no pipe on earth is. What is
admitted is solved in batches, as a sweep does.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from shared.corners import admitted, cases
from warmbranch import core
from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch.heat import temperature
from warmbranch.sound.acoustics import input_impedance
from warmbranch.steady import interplay
from warmbranch.steady.answer import BEYOND_THE_GAS, Answer
from warmbranch.steady.solve import solve

CHUNK = 256


def check(answer: Answer) -> None:
    """What nature asks of an answer."""
    case, profile = answer.case, answer.profile
    causes = np.stack(
        [
            case.main_pipe.gas_temperature,
            profile.wall[:, 0],
            case.surroundings.air_temperature,
            case.surroundings.radiant_temperature,
        ]
    )
    low, high = causes.min(axis=0)[:, None], causes.max(axis=0)[:, None]
    for values in (profile.gas, profile.wall, profile.skin):
        assert np.all((values >= low) & (values <= high))
    # Heat is conserved to a millionth, or to 40 µW. Where a few watts pass through gas that a tone
    # of 20 kPa stirs by hundreds of m²/s, nodes 3 µm apart exchange 1e9 W/K and more: of that, the
    # rounding of 240 K (2.8e-14 K) is some 30 µW, and no solver in double precision has less; that
    # of 300 K is twice as coarse.
    amiss = np.abs(profile.heat_entering - profile.heat_lost)
    coarser = np.spacing(profile.gas.max(axis=1)) / np.spacing(240.0)
    assert np.all((profile.closure_error < 1e-6) | (amiss < 4e-5 * coarser))

    first = answer.resonance[:, 0]
    known = ~np.isnan(first)
    assert np.all(known | case.closures.wall_losses)
    assert np.all((answer.quality_factor > 0) | ~known)
    assert not np.any(answer.resonance[:, 1:] <= answer.resonance[:, :-1])
    assert not np.any(seen_below(answer))
    warm = answer.effective_temperature
    heavy, drowned = answer.mouth_correction > answer.length, answer.quality_factor < 3
    assert np.all(np.isfinite(warm) | heavy | drowned | ~known)
    gas = profile.gas
    inside = (warm > gas.min(axis=1) / BEYOND_THE_GAS) & (warm < gas.max(axis=1) * BEYOND_THE_GAS)
    assert np.all(inside | np.isnan(warm))


def seen_below(answer: Answer) -> np.ndarray:
    """Whether a scan sees a resonance below the one that is called the first, (designs,)."""
    first = answer.resonance[:, 0]
    top = np.where(np.isnan(first), 3 * answer.transit_time, first)
    share = np.concatenate([np.geomspace(0.02, 0.3, 60), np.linspace(0.3, 0.999, 240)])
    impedance = input_impedance(answer.duct, top[:, None] * share)
    rises = (impedance.imag[:, :-1] < 0) & (impedance.imag[:, 1:] >= 0)
    short = impedance.real < answer.duct.mouth_impedance[:, None]
    return np.any(rises & short[:, :-1] & short[:, 1:], axis=1)


def check_corners(count: int, seed: int) -> None:
    kept, batch = admitted(list(cases(count, seed)))
    assert len(kept) > count / 2
    for start in range(0, len(kept), CHUNK):
        check(solve(batch.take(slice(start, start + CHUNK))))


def test_some_corners():
    check_corners(1000, seed=22)


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.parametrize("seed", range(6))
def test_many_corners(seed):
    check_corners(5000, seed)


HARD = json.loads(Path(__file__).with_name("hard_corners.json").read_text(encoding="utf-8"))
"""Corners that were not answered once, found by the draws above."""

DEAR = {"a resonance that comes and goes", "a short thin branch"}
"""Two to three seconds each without the compiled loops."""


def test_corners_that_were_not_answered_once():
    kept, batch = admitted([*HARD.values()])
    assert len(kept) == len(HARD) == 4
    check(solve(batch))


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=pytest.mark.slow) if n in DEAR else n for n in HARD]
)
def test_numpy_answers_them_too(name, monkeypatch):
    monkeypatch.setenv(core.OFF, "off")
    (_,), batch = admitted([HARD[name]])
    check(solve(batch))


@pytest.mark.parametrize(
    ("name", "module", "constant", "without"),
    [
        ("a resonance that comes and goes", interplay, "FREE_PASSES", interplay.MOST_PASSES),
        ("iterates that stay at their bounds", temperature, "EASING", (0.0,)),
    ],
)
def test_what_answers_them_is_needed(name, module, constant, without, monkeypatch):
    monkeypatch.setattr(module, constant, without)
    with pytest.raises(NotConvergedError):
        solve(admitted([HARD[name]])[1])


def test_a_tone_that_outruns_sound_is_refused(refused, smallest, put):
    """A thin branch on a wide pipe at its resonance: 20 kPa would move its gas at many machs."""
    put(smallest, "case.branch.outside_diameter_mm", 15)
    put(smallest, "case.main_pipe.outside_diameter_mm", 600)
    put(smallest, "case.main_pipe.mass_flow_kg_h", 500)
    mixing = {"model": "stirred mouth", "incident_pressure_Pa": 20000}
    entry, _ = refused(put(smallest, "case.closures", {"mixing": mixing}))
    assert entry["pointer"] == "/case/closures/mixing/incident_pressure_Pa"
    assert (entry["value"], entry["unit"]) == (20000, "Pa")
    assert "times the speed of sound" in entry["detail"]


def test_the_pressure_that_the_refusal_names_is_admitted(make_case):
    """But for what quieter mixing changes of the resonance: a percent is left."""
    loud = make_case(incident_pressure=20e3, outside_diameter=0.03, main_outside_diameter=0.4)
    with pytest.raises(InputError) as caught:
        solve(loud)
    most = float(caught.value.remedy.split()[3])
    assert 100 < most < 20e3
    solve(make_case(incident_pressure=0.95 * most, outside_diameter=0.03,
                    main_outside_diameter=0.4))  # fmt: skip


@pytest.mark.parametrize(("skin", "gas"), [(1000, -40), (450.1, 50)])
def test_a_main_pipe_far_hotter_than_its_gas_is_refused(refused, smallest, put, skin, gas):
    put(smallest, "case.main_pipe.gas_temperature_degC", gas)
    entry, _ = refused(put(smallest, "case.main_pipe.skin_temperature_degC", skin))
    assert (entry["field"], entry["code"]) == (
        "case.main_pipe.skin_temperature_degC",
        "skin_too_hot",
    )


def test_a_main_pipe_that_has_just_carried_hotter_gas_is_admitted(steady, smallest, put):
    put(smallest, "case.main_pipe.gas_temperature_degC", 50)
    steady(put(smallest, "case.main_pipe.skin_temperature_degC", 450))
