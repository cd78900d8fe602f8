from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import approx_fprime

from shared.readings import contacts
from warmbranch.base.errors import InputError
from warmbranch.belief.calibration import Calibration
from warmbranch.fit.clock import WARMTH
from warmbranch.fit.ensemble import PriorDraws
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.search import BOUND, DEGREES_OF_FREEDOM, log_posterior
from warmbranch.fit.shared import NAMES as SHARED


@pytest.fixture
def problem(synthetic):
    drawn = synthetic.experiment(np.random.default_rng(31), 6, listens=True)
    return InverseProblem(drawn.case, drawn.readings, drawn.heard, Calibration.prior(drawn.case))


def middle(problem) -> np.ndarray:
    """One start: the middle of all beliefs."""
    return np.zeros((1, len(problem) + len(problem.shared)))


def test_mode_is_where_the_posterior_is_flat(problem):
    size = len(problem)
    mode = problem.mode(middle(problem))
    assert mode.summit.converged

    def density(joint):
        white, shared = joint[None, :size], joint[None, size:]
        expected = problem.expected(white)
        misfit = problem.joint_misfit(expected.displayed, expected.heard, shared)
        return log_posterior(joint[None], misfit)[0]

    uphill = approx_fprime(mode.summit.white, density, 1e-5)
    # A step of Newton's method from there would gain no more than the search left on purpose.
    assert uphill @ np.linalg.solve(mode.summit.precision, uphill) / 2 < 0.02


def test_search_ends_at_the_same_place_from_elsewhere(problem):
    first = problem.mode(middle(problem))
    second = problem.mode(PriorDraws(problem).starts(problem))
    apart = first.summit.white - second.summit.white
    # In standard deviations of the estimate: the search leaves a fraction of one.
    assert np.sqrt(apart @ first.summit.precision @ apart) < 0.3


def test_misfit_and_sensitivities_agree_with_differences(problem):
    size = len(problem)
    joint = np.full(size + len(problem.shared), 0.2)
    slopes = problem.sensitivities(joint, problem.expected(joint[None, :size]))
    step = 1e-3
    assert slopes.shape[1] == len(joint)
    for i in range(len(joint)):
        both = np.stack([joint, joint])
        both[:, i] += step, -step
        seen = problem.expected(both[:, :size])
        misfit = problem.joint_misfit(seen.displayed, seen.heard, both[:, size:])
        # The grid moves with the unknowns in these differences, which shows at some 1e-3.
        np.testing.assert_allclose(
            slopes[:, i],
            (misfit[0] - misfit[1]) / (2 * step),
            rtol=0,
            atol=0.01 * max(1.0, np.abs(slopes).max()),
        )


def test_likelihood_is_students(problem):
    """Against the density itself, for one reading moved about."""
    expected = problem.expected(np.zeros((1, len(problem))))
    base = problem.readings.displayed.copy()
    values = []
    for off in (0.0, 3.0):
        shifted = base.copy()
        shifted[0] = expected.displayed[0, 0] + off * problem.readings.uncertainty[0]
        moved = InverseProblem(
            problem.case,
            replace(problem.readings, displayed=shifted),
            problem.heard,
            problem.prior,
            known=frozenset(SHARED),
        )
        seen = moved.expected(np.zeros((1, len(problem))))
        values.append(moved.log_posterior(np.zeros((1, len(problem))), seen)[0])
    nu = DEGREES_OF_FREEDOM
    assert values[0] - values[1] == pytest.approx((nu + 1) / 2 * np.log1p(9 / nu), abs=1e-9)


def test_one_wild_reading_does_not_own_the_fit(synthetic):
    """The estimate moves by less than its own uncertainty when one reading goes wild by 80 K."""
    drawn = synthetic.experiment(np.random.default_rng(8), 8, listens=False)
    prior = Calibration.prior(drawn.case)
    honest = InverseProblem(drawn.case, drawn.readings, drawn.heard, prior)
    shown = drawn.readings.displayed.copy()
    shown[3] += 80.0
    wild = InverseProblem(drawn.case, replace(drawn.readings, displayed=shown), drawn.heard, prior)
    first = honest.mode(middle(honest))
    second = wild.mode(middle(wild))
    spread = np.sqrt(np.diag(np.linalg.inv(first.summit.precision)))
    assert np.abs((second.summit.white - first.summit.white) / spread).max() < 1.5
    residual = wild.misfit(second.displayed[None], second.heard[None])[0]
    assert residual[3] > 10


def test_search_stays_within_its_bounds(make_case):
    """Skins hotter than the gas is told to be, all along: nothing plausible does that."""
    case = make_case()
    hot = contacts(np.linspace(0.1, 1.0, 8), np.full(8, 450.0), uncertainty=0.3)
    sure = frozenset(SHARED)
    problem = InverseProblem(case, hot, Heard.none(), Calibration.prior(case), known=sure)
    mode = problem.mode(middle(problem))
    assert np.any(mode.summit.at_bound)
    assert np.abs(mode.summit.white).max() <= BOUND


def test_a_tone_of_another_length_counts_at_that_length(make_case):
    case = make_case()
    heard = Heard.of_warm(np.array([90.0, 100.0]), np.ones(2), np.array([1.031, 0.9]))
    known = frozenset({WARMTH})
    problem = InverseProblem(case, Readings.none(), heard, Calibration.prior(case), known=known)
    expected = problem.expected(np.zeros((1, len(problem))))
    assert expected.heard[0, 1] > 1.08 * expected.heard[0, 0]
    assert expected.frequency[0] == expected.heard[0, 0]


def test_what_is_left_out_does_not_count(problem):
    problem.leave_out([0])
    expected = problem.expected(np.zeros((1, len(problem))))
    assert problem.misfit(expected.displayed, expected.heard)[0, -1] == 0
    assert problem.counted == len(problem.readings)


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("position", 1.2, "between 0 and 1.031"),
        ("position", -0.01, "between 0 and 1.031"),
        ("displayed", 200.0, "from 223.15"),
        ("displayed", 1400.0, "to 1273.15"),
        ("emissivity_set", 0.0, "above 0"),
        ("emissivity", 1.2, "at most 1"),
        ("uncertainty", 0.0, "above zero"),
    ],
)
def test_readings_that_cannot_be_are_refused(make_case, field, value, says):
    readings = replace(contacts([0.3], [350.0]), **{field: np.array([value])})
    case = make_case()
    with pytest.raises(InputError, match=says) as refused:
        InverseProblem(case, readings, Heard.none(), Calibration.prior(case))
    assert refused.value.field == f"readings.0.{field}"
    assert refused.value.value == value
