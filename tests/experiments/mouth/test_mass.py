"""Mass and resistance of the mouth: the evaluation, the runs without flow, and the model's form."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from experiments.mouth.mass import SOUND_SPEED, branch_at_crown, main_at_axis
from warmbranch.case.closures import FLOW_LOSS, LEVEL_LOSS
from warmbranch.sound.mouth import flow_share, side_branch_correction, taken_by_flow
from warmbranch.sound.mouth_loss import QUADRATIC

FIXTURE = Path(__file__).parents[3] / "fixtures" / "simulated" / "MouthMass.toml"
RUNS = {run["name"]: run for run in tomllib.loads(FIXTURE.read_text())["run"]}

WEAK = ("s45",)
"""Its tone was a seventh of what was asked for: the mouth sang against the drive."""

FLOWING = [run for run in RUNS.values() if run["flows"] and run["name"] not in WEAK]


def test_waves_of_the_branch_are_carried_to_the_crown_plane():
    """Exact waves between a given pressure and velocity there, with a wall's share and a force."""
    omega, force, bore, share = 2 * np.pi / 1800, 3e-5, 33.6, 1.07 - 0.03j
    z = np.arange(0.5, 336.0)
    p0, w0 = 2e-3 - 1e-3j, 4e-3 + 1e-3j
    k, heavy = omega / SOUND_SPEED * np.sqrt(share), SOUND_SPEED * np.sqrt(share)
    forced = force / (1j * omega * share)
    w = forced + (w0 - forced) * np.cos(k * z) + p0 / (1j * heavy) * np.sin(k * z)
    p = p0 * np.cos(k * z) - 1j * heavy * (w0 - forced) * np.sin(k * z)
    pressure, velocity, found, miss = branch_at_crown(z, p, w, omega, force, bore)
    # What the search for the share leaves.
    assert pressure == pytest.approx(p0, rel=1e-6)
    assert velocity == pytest.approx(w0, rel=1e-6)
    assert found == pytest.approx(share, rel=1e-6)
    assert miss < 1e-6


def test_waves_of_the_main_pipe_are_carried_to_the_axis():
    omega, mach = 2 * np.pi / 1800, 0.14
    x = np.linspace(-140, 140, 36)
    ahead, back = np.where(x > 0, 2e-3, 1e-3), np.where(x > 0, 1j, 2j) * 1e-3
    down = ahead * np.exp(-1j * omega / (SOUND_SPEED * (1 + mach)) * x)
    up = back * np.exp(1j * omega / (SOUND_SPEED * (1 - mach)) * x)
    before, after = main_at_axis(x, down + up, (down - up) / SOUND_SPEED, omega, mach, 50.0)
    assert before == pytest.approx(1e-3 + 2e-3j, rel=1e-12)  # rounding
    assert after == pytest.approx(2e-3 + 1e-3j, rel=1e-12)


@pytest.mark.parametrize("name", ["still_a", "still_b", "wide_still", "still64", "narrow64_still"])
def test_without_flow_the_correction_is_as_published(name):
    """Ji 2005, as quoted by others: to a cell, 0.045 to 0.06 of the radius, and two errors."""
    run = RUNS[name]
    known = side_branch_correction(np.array([run["bore_ratio"]]))[0]
    cell = 2 / (run["cells"] * run["bore_ratio"])
    allowed = cell + 2 * min(run["correction_error"], 0.05)
    assert run["correction"] == pytest.approx(known, abs=allowed)


def still(run):
    return side_branch_correction(np.array([run["bore_ratio"]]))[0]


def taken(run):
    ratio, level = np.array([run["bore_ratio"]]), np.array([run["velocity"]])
    return (taken_by_flow(ratio, level) * flow_share(np.array([run["strouhal"]])))[0]


KNOWN = [run for run in FLOWING if run["correction_error"] < 0.1]


def test_the_model_s_form_meets_the_runs():
    """0.08 of the radius rms where a run knows it to 0.1, none by more than 0.2.

    Four numbers were fitted to these 21 runs: what remains is the form's own failing.
    """
    misses = np.array([still(run) - taken(run) - run["correction"] for run in KNOWN])
    assert len(KNOWN) == 21
    assert np.sqrt(np.mean(misses**2)) < 0.08
    assert np.abs(misses).max() < 0.2
    # Without what the flow takes they would miss by six times as much.
    absent = np.array([still(run) - run["correction"] for run in KNOWN])
    assert np.sqrt(np.mean(absent**2)) > 0.4


def test_runs_that_know_less_do_not_contradict():
    for run in FLOWING:
        error = 2 * np.hypot(run["correction_error"], 0.08)
        assert still(run) - taken(run) == pytest.approx(run["correction"], abs=error), run["name"]


def test_no_flow_and_fast_or_loud_tones_keep_the_whole_mass():
    """Limits of the form."""
    ratio = np.array([0.7])
    assert flow_share(np.array([np.inf]))[0] == 0
    assert flow_share(np.array([0.0]))[0] == 1
    assert taken_by_flow(ratio, np.array([np.inf]))[0] == 0
    assert flow_share(np.array([1.0]))[0] < 1e-6


def test_neither_grid_nor_mach_nor_reynolds_number_matters_much():
    """Two errors of both, at one Strouhal number and level."""
    base = RUNS["s15"]
    for name in ("grid64_s15", "mach_s15", "re60_s15"):
        run = RUNS[name]
        error = 2 * np.hypot(run["correction_error"], base["correction_error"])
        assert run["correction"] == pytest.approx(base["correction"], abs=error)
        error = 2 * np.hypot(run["resistance_error"] / run["mach"], base["resistance_error"] / 0.14)
        assert run["resistance"] / run["mach"] == pytest.approx(
            base["resistance"] / base["mach"], abs=error
        )


def test_slow_tones_meet_the_resistance_that_is_believed():
    """Below a Strouhal number of 0.2, at 0.05 to 0.2 of the flow: k_f M to half of the prior's."""
    slow = [run for run in FLOWING if run["strouhal"] < 0.2 and 0.05 < run["velocity"] < 0.2]
    assert len(slow) >= 8
    for run in slow:
        assert run["resistance"] / run["mach"] == pytest.approx(FLOW_LOSS.median, rel=0.5)


def test_a_loud_tone_without_flow_meets_the_quadratic_loss():
    """u' near the flow's unit, gas going 0.8 of a bore: K within the middle half of its prior.

    What the run without a level loses at the wall, 0.005, is taken off.
    """
    run = RUNS["still_c"]
    loud = run["velocity"] * 0.08 / SOUND_SPEED
    k = (run["resistance"] - 0.005) / (QUADRATIC * loud)
    assert LEVEL_LOSS.median / 1.4 < k < LEVEL_LOSS.median * 1.4
