"""Whole recordings with truths known. The many are in tests/benchmarks/bench_listen.py."""

from __future__ import annotations

import numpy as np
import pytest

from shared.recordings import pair, record, some_drive
from warmbranch.base.errors import InputError
from warmbranch.case.engine import Cycle
from warmbranch.listen.layout import engine_layout
from warmbranch.listen.notch import ExpectedNotch
from warmbranch.listen.shapes import quarter_wave_loss
from warmbranch.listen.solve import hear, notch_of

EASY = {"signal_to_noise_dB": 18.0, "clipped": False, "speech": False, "seconds": 14.0}


def heard_of(recording):
    drive = recording.drive
    layout = engine_layout(drive.cylinders, Cycle.FOUR_STROKE)
    low, high = 0.9 * drive.slowest_rpm / 60, 1.1 * drive.fastest_rpm / 60
    return hear(recording.samples, recording.rate_Hz, layout, low, high)


@pytest.fixture(scope="module")
def driven():
    before, after = pair(709, **EASY, cylinders=4)
    return before, after, heard_of(before), heard_of(after)


def test_speed(driven):
    _, after, _, heard = driven
    truth = np.interp(heard.track.time, after.time_s, after.rpm)
    error = np.abs(np.exp(heard.track.log_speed) * 60 / truth - 1)[heard.held]
    assert heard.held.mean() > 0.5
    assert np.median(error) < 0.003
    assert np.mean(error > 0.03) < 0.02


def test_a_comb_twice_as_dense_does_not_win_by_silent_orders():
    """An eight at a steady cruise, each of whose orders is an order at half the speed too."""
    drive = record(some_drive(1525, seconds=8.0))
    heard = heard_of(drive)
    truth = np.interp(heard.track.time, drive.time_s, drive.rpm)
    assert heard.held.mean() > 0.9
    assert np.abs(np.exp(heard.track.log_speed) * 60 / truth - 1)[heard.held].max() < 0.03


@pytest.mark.parametrize("shares", [(1.3, 2.2), (0.3, 0.8)])
def test_a_range_that_excludes_the_truth_holds_no_speed(driven, shares):
    """Twice or half the speed fits in; what is beyond the range explains it better, and is told."""
    _, after, _, _ = driven
    layout = engine_layout(after.drive.cylinders, Cycle.FOUR_STROKE)
    low, high = (share * after.drive.fastest_rpm / 60 for share in shares)
    if shares[0] < 1:
        low, high = (share * after.drive.slowest_rpm / 60 for share in shares)
    heard = hear(after.samples, after.rate_Hz, layout, low, high)
    assert heard.held.mean() < 0.05
    assert min(rival.odds for rival in heard.track.rivals) < 0


def test_notch(driven):
    _, after, before_heard, after_heard = driven
    layout = engine_layout(after.drive.cylinders, Cycle.FOUR_STROKE)
    found = notch_of([before_heard], [after_heard], layout, same_place=True)
    assert found is not None
    assert found.heard
    assert abs(found.quantile(0.5) / after.drive.notch_Hz - 1) < 0.03
    assert found.quantile(0.05) < found.quantile(0.5) < found.quantile(0.95)


@pytest.mark.parametrize("error", [-0.04, 0.04])
@pytest.mark.parametrize("with_before", [True, False])
def test_a_case_that_is_off_drags_no_farther_than_is_told(driven, error, with_before):
    """A branch of one temperature, whose second dip is at 3; the generator's is at 2.76."""
    _, after, before_heard, after_heard = driven
    layout = engine_layout(after.drive.cylinders, Cycle.FOUR_STROKE)
    truth = after.drive.notch_Hz
    expected = truth * (1 + error)
    found = notch_of(
        [before_heard] if with_before else [],
        [after_heard],
        layout,
        loss=lambda frequency: quarter_wave_loss(frequency / expected, 0.8),
        prior=ExpectedNotch(expected, 0.04),
    )
    assert found is not None
    assert found.heard
    assert found.quantile(0.05) < truth < found.quantile(0.95)


def test_before_against_itself_has_no_notch(driven):
    before, _, heard, _ = driven
    layout = engine_layout(before.drive.cylinders, Cycle.FOUR_STROKE)
    found = notch_of([heard], [heard], layout, same_place=True)
    assert found is None or not found.heard


@pytest.mark.parametrize(
    ("samples", "rate", "field"),
    [
        (np.ones(80_000), 8000, "samples"),
        (np.full(80_000, np.nan), 8000, "samples"),
        (np.random.default_rng(1).standard_normal(1600), 8000, "samples"),
        (np.random.default_rng(1).standard_normal(80_000), 4000, "sample_rate"),
    ],
)
def test_refused(samples, rate, field):
    layout = engine_layout(4, Cycle.FOUR_STROKE)
    with pytest.raises(InputError) as refused:
        hear(samples, rate, layout, 20, 80)
    assert refused.value.field == field
    assert refused.value.remedy
