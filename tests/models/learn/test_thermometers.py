"""A thermometer that several jobs name as theirs: what it shows too much is the same in all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from warmbranch.base.constants import ICE_POINT
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch.fit.readings import Heard
from warmbranch.fit.shared import THERMOMETER, Shared
from warmbranch.learn import population
from warmbranch.learn.population import CHANCES, SHARES, Jobs, Seen
from warmbranch.learn.solve import learn
from warmbranch.learn.summary import MeasuredBranch, summary_of
from warmbranch.steady.solve import solve

GAIN = 0.05
"""On the °C: more than three of the usual spreads, as a thermometer that is broken shows."""


def test_what_is_the_same_in_all_jobs_against_the_joint_normal_distribution(monkeypatch):
    """Each job reads one coefficient and one thermometer's error at once; all jointly normal."""
    place, rng = 4, np.random.default_rng(5)
    one = np.where(np.arange(len(SHARES)) == place, 1.0, 1e-300)
    monkeypatch.setattr(population, "CHANCES", one)
    share, common = SHARES[place], 1 - SHARES[place]
    of = [rng.normal(size=(2, 3)) for _ in range(4)]
    shown = [rng.normal(size=3) for _ in range(4)]
    jobs = [Seen(a, y, np.zeros(2)) for a, y in zip(of, shown, strict=True)]
    mean, covariance = Jobs(jobs, 1, same=1).population().common_moments()
    by = np.concatenate(of, axis=1)
    own = np.repeat(np.arange(4), 3)
    coefficient = np.outer(by[0], by[0]) * (common + share * (own[:, None] == own))
    whole = np.eye(12) + coefficient + np.outer(by[1], by[1])
    across = np.stack([common * by[0], by[1]])
    told = np.linalg.solve(whole, np.concatenate(shown))
    assert mean == pytest.approx(across @ told, rel=1e-9)
    after = np.diag([common, 1.0]) - across @ np.linalg.solve(whole, across.T)
    assert covariance == pytest.approx(after, rel=1e-9, abs=1e-12)
    assert len(CHANCES) == len(SHARES)


def test_each_thermometer_that_is_named_has_a_scale_of_its_own():
    place = np.array([0.1, 0.3, 0.5, 0.8])
    infrared = np.array([True, True, False, True])
    names = ("Anna's", "", "", "Anna's")
    found = Shared.of(place, infrared, 0, 293.0, instrument=names, known=frozenset({"ear"}))
    scales = [name for name in found.names if "scale" in name]
    assert scales == ["infrared_scale", "contact_scale", "infrared_scale of Anna's"]
    by = dict(zip(found.names, found.on_display.T, strict=True))
    assert by["infrared_scale of Anna's"] == pytest.approx([THERMOMETER, 0, 0, THERMOMETER])
    assert by["infrared_scale"] == pytest.approx([0, THERMOMETER, 0, 0])
    sure = Shared.of(
        place, infrared, 0, 293.0, instrument=names, known=frozenset({"infrared_scale"})
    )
    assert not any(name.startswith("infrared_scale") for name in sure.names)


PATTERNS = {f"pattern_{i + 1}" for i in range(4)}
SURE = (frozenset(UNKNOWNS) - {"stirring"}) | PATTERNS
"""All but one coefficient: gas and air would hide what a thermometer shows too much, as would the
2 K of a cheap display at such temperatures."""


def jobs_of_one(synthetic, name: str):
    """Jobs whose other coefficients are known, read by one fine thermometer that shows too much."""
    rng, found = np.random.default_rng(29), []
    for i in range(4):
        case = synthetic.a_case(rng)
        own = case.closures.stirring * np.exp(0.5 * rng.normal())
        truth = solve(case.changed(closures=case.closures.changed(stirring=own)))
        place = np.linspace(0.06, 0.6, 5) * case.branch.length[0]
        skin = np.interp(place, truth.profile.position[0], truth.profile.skin[0])
        shown = ICE_POINT + (skin - ICE_POINT) * (1 + GAIN) + 0.5 * rng.normal(size=5)
        read = replace(
            synthetic.to_be_read(case, place, ("contact",) * 5),
            displayed=shown,
            uncertainty=np.full(5, 0.5),
            instrument=(name,) * 5,
        )
        job = MeasuredBranch(f"job {i}", case, read, Heard.none(), Spreads(fixed=SURE), warm=True)
        found.append(summary_of(job))
    return found


def test_jobs_tell_each_other_of_a_thermometer_that_is_off(synthetic):
    kept = jobs_of_one(synthetic, "Anna's")
    (one,) = learn(kept).instruments
    assert (one.name, one.jobs) == ("contact_scale of Anna's", 4)
    alone = [learn([job]).instruments[0].spread for job in kept]
    # Each job's part, Gauss's sum of precisions, but for what the coefficients share.
    together = (1 / np.square(alone) - 1 / THERMOMETER**2).sum() + 1 / THERMOMETER**2
    assert one.spread == pytest.approx(together**-0.5, rel=0.2)
    assert one.spread < 0.8 * min(alone)
    # Far beyond the prior, whose pull is that of one precision in all.
    pulled = GAIN * (1 - (one.spread / THERMOMETER) ** 2)
    assert abs(one.scale - pulled) < 2.5 * one.spread


def test_who_names_no_thermometer_shares_none(synthetic):
    assert learn(jobs_of_one(synthetic, "")).instruments == ()
