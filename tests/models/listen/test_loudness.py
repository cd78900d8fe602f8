"""Where it drones, on curves whose truth is known."""

from __future__ import annotations

import numpy as np

from warmbranch.listen.loudness import BIN, SCATTER, Loudness, drone

SPEED = (np.arange(28, 80) + 0.5) * BIN


def curve(level):
    return Loudness(SPEED, level, level, np.full(len(SPEED), 4))


def test_a_peak_alone_is_told_evenly():
    """Symmetric curve, symmetric interval: as far down as up, to a step of the engine speed."""
    peak = SPEED[25]
    found = drone(curve(-60 - 40 * np.square(np.log(SPEED / peak))))
    assert found is not None
    assert found.revolutions_per_second == peak
    low, high = found.interval_90
    assert abs((peak - low) - (high - peak)) < 2 * BIN
    assert low < found.interval_50[0] < peak < found.interval_50[1] < high


def test_a_rival_far_off_widens_and_a_fainter_one_does_not():
    peak, rival = SPEED[15], SPEED[40]

    def two(fainter_dB):
        hills = np.array(
            [
                10 - 250 * np.square(np.log(SPEED / peak)),
                10 - fainter_dB - 250 * np.square(np.log(SPEED / rival)),
            ]
        )
        return drone(curve(-60 + np.maximum(hills.max(axis=0), 0)))

    near, far = two(0.3), two(6.0)
    assert near is not None
    assert far is not None
    assert near.interval_90[1] > rival - BIN
    assert far.interval_90[1] < peak * 1.1


def test_what_the_gain_may_have_been_widens():
    """The same peak by half of the gains, another by the other half."""
    peak, rival = SPEED[15], SPEED[40]
    one, other = (-60 - 40 * np.square(np.log(SPEED / top)) for top in (peak, rival))
    by_gain = np.array([one, other] * 10)
    sure = drone(curve(one))
    found = drone(Loudness(SPEED, one, one, np.full(len(SPEED), 4), by_gain, by_gain))
    assert sure is not None
    assert found is not None
    assert found.revolutions_per_second == sure.revolutions_per_second
    assert sure.interval_90[1] < rival < found.interval_90[1]


def test_intervals_hold_the_truth():
    """60 curves with the scatter that is assumed. 0.9 of them, less 3 deviations of the count."""
    rng = np.random.default_rng(4)
    inside = 0
    for _ in range(60):
        peak = np.exp(rng.uniform(np.log(SPEED[10]), np.log(SPEED[-10])))
        level = -60 - 30 * np.abs(np.log(SPEED / peak)) ** 1.5
        found = drone(curve(level + SCATTER * rng.standard_normal(len(SPEED))))
        assert found is not None
        inside += found.interval_90[0] <= peak <= found.interval_90[1]
    assert inside >= 60 * 0.9 - 3 * np.sqrt(60 * 0.9 * 0.1)


def test_the_end_of_what_is_heard_is_told():
    found = drone(curve(-60 + 20 * np.log(SPEED / SPEED[0])))
    assert found is not None
    assert found.at_edge


def test_too_few_speeds():
    few = Loudness(SPEED[:4], np.zeros(4), np.zeros(4), np.full(4, 4))
    assert drone(few) is None
