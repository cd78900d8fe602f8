"""Length corrections of the mouth.

Other authors' corrections of the same mouth are in fixtures/published/.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.testing import assert_allclose
from scipy import integrate, special

from warmbranch.case.closures import Closures, MouthModel
from warmbranch.sound.mouth import (
    FLANGED,
    UNFLANGED,
    flow_share,
    mouth_lengths,
    over_flow,
    side_branch_correction,
    taken_by_flow,
)

NAN = np.nan


def lefebvre_scavone(ratio):
    """Inner correction plus matching volume; JASA 131 (2012) 3153, as quoted by others."""
    inner = (
        0.822 - 0.095 * ratio - 1.566 * ratio**2 + 2.138 * ratio**3 - 1.640 * ratio**4
        + 0.502 * ratio**5
    )  # fmt: skip
    return inner + ratio / 8 * (1 + 0.207 * ratio**3)


class TestSideBranch:
    def test_pieces_join(self):
        below, above = side_branch_correction(np.array([0.4, np.nextafter(0.4, 1)]))
        # The printed coefficients, of four digits, leave a step of 4e-5.
        assert_allclose(below, above, rtol=0, atol=1e-4)

    def test_small_branch_sees_an_infinite_flange(self):
        assert side_branch_correction(np.array([0.0]))[0] == FLANGED

    def test_against_an_independent_fit(self):
        ratio = np.linspace(0, 1, 201)
        # Boundary elements here, finite elements there; each fit is good to half a percent of a.
        assert_allclose(side_branch_correction(ratio), lefebvre_scavone(ratio), rtol=0, atol=0.0081)

    def test_shrinks_as_the_branch_widens(self):
        correction = side_branch_correction(np.linspace(0, 1, 101))
        assert (np.diff(correction) < 0).all()
        assert (correction > 0).all()

    def test_beyond_equal_bores_the_last_value_stands(self):
        at_one, beyond = side_branch_correction(np.array([1.0, 1.4]))
        assert at_one == beyond


def test_unflanged_against_its_integral():
    """δ/a = (1/π) ∫₀^∞ ln{1/[2 I₁(x) K₁(x)]} dx/x²: Levine & Schwinger's low-frequency limit."""

    ends = np.log(10.0) * np.arange(-6, 5)

    def integrand(log_x):
        x = np.exp(log_x)
        return -np.log(2 * special.ive(1, x) * special.kve(1, x)) / x

    body = sum(
        integrate.fixed_quad(integrand, low, high, n=40)[0]
        for low, high in itertools.pairwise(ends)
    )
    last = np.exp(ends[-1])
    # Beyond, I₁K₁ = 1/(2x) and the integral is (ln x + 1)/x; before, it is about 1e-5.
    integral = (body + (np.log(last) + 1) / last) / np.pi
    # 1e-5 for the end left out; 0.612701 by mpmath with 25 digits.
    assert_allclose(integral, 0.612701, rtol=1e-5)
    # The value as everywhere printed is a thousandth above the integral.
    assert_allclose(UNFLANGED, integral, rtol=1.1e-3)


class TestMouthLength:
    def both(self, models, *, bore=0.045, main=0.09, factor=1.0, fixed=NAN, flow=1.0, level=0.1):
        n = len(models)

        def each(value):
            return np.broadcast_to(value, n).astype(float)

        closures = (
            Closures.default()
            .repeat(n)
            .changed(
                mouth_model=np.array([float(model) for model in models]),
                mouth_factor=each(factor),
                fixed_mouth_length=each(fixed),
                mouth_flow=each(flow),
            )
        )
        return mouth_lengths(closures, each(bore), each(main), each(level))

    def lengths(self, models, **values):
        return self.both(models, **values)[0]

    def test_every_model(self):
        per_radius = self.lengths(list(MouthModel)) / 0.0225
        expected = {
            MouthModel.SIDE_BRANCH: 0.9326 - 0.6196 * 0.5,
            MouthModel.FLANGED: 0.8216,
            MouthModel.UNFLANGED: 0.6133,
        }
        # The same arithmetic: rounding.
        assert_allclose(per_radius, [expected[model] for model in MouthModel], rtol=1e-14)

    def test_factor_multiplies(self):
        models = [MouthModel.SIDE_BRANCH, MouthModel.UNFLANGED]
        halved = self.lengths(models, factor=[0.5, 0.4])
        assert_allclose(halved, self.lengths(models) * [0.5, 0.4], rtol=1e-14)  # rounding

    def test_fixed_replaces_model_and_factor(self):
        lengths = self.lengths([MouthModel.FLANGED] * 3, factor=0.5, fixed=[0.011, NAN, 0.0])
        assert lengths[0] == 0.011
        assert_allclose(lengths[1], 0.5 * 0.8216 * 0.0225, rtol=1e-14)  # rounding
        assert lengths[2] == 0.0

    def test_batch_equals_singles(self):
        bores, mains = [0.02, 0.05, 0.06], [0.08, 0.06, 0.05]
        models = [MouthModel.SIDE_BRANCH, MouthModel.SIDE_BRANCH, MouthModel.FLANGED]
        together = self.lengths(models, bore=bores, main=mains)
        for i, model in enumerate(models):
            assert together[i] == self.lengths([model], bore=bores[i], main=mains[i])[0]

    def test_what_flow_takes(self):
        models = [MouthModel.SIDE_BRANCH] * 4
        still, taken = self.both(models, fixed=[NAN, NAN, NAN, 0.011], flow=[1, 0.5, 0, 1])
        whole = taken_by_flow(np.array([0.5]), np.array([0.1]))[0] * 0.0225
        assert_allclose(taken, [whole, whole / 2, 0, 0], rtol=1e-14)  # rounding
        assert_allclose(still[:3], self.lengths(models[:3]), rtol=1e-14)

    def test_gas_that_stands_takes_nothing(self):
        _, taken = self.both([MouthModel.SIDE_BRANCH], level=np.inf)
        assert taken == [0.0]
        assert over_flow(np.array([3.0, 0.0]), np.zeros(2)).tolist() == [np.inf, np.inf]

    def test_a_breath_of_flow_is_no_flow(self):
        with np.errstate(all="raise"):
            level = over_flow(np.array([3.0]), np.array([1e-170]))
            assert taken_by_flow(np.array([0.7]), level)[0] == 0
            assert flow_share(level)[0] == 0
            assert over_flow(np.array([3.0]), np.array([1e-320]))[0] == np.inf
