"""Speed and levels of clean orders, whose truths are exact."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.case.engine import Cycle
from warmbranch.listen.fine import SLOW_RATE, shifted_orders
from warmbranch.listen.layout import engine_layout
from warmbranch.listen.solve import hear
from warmbranch.listen.spectra import RATE as REDUCED_RATE
from warmbranch.listen.speed import Anchor

FOUR = engine_layout(4, Cycle.FOUR_STROKE)
RATE = 8000


def sounded(speed, amplitudes, noise, rng):
    """Orders of given amplitudes at a speed (samples,) in revolutions per second, with noise."""
    angle = 2 * np.pi * np.cumsum(speed) / RATE
    sound = noise * rng.standard_normal(len(speed))
    for order, amplitude in amplitudes.items():
        sound += amplitude * np.cos(order * angle + rng.uniform(0, 6))
    return sound


AMPLITUDES = {2: 0.3, 4: 0.2, 6: 0.1, 8: 0.05, 1: 0.03, 3: 0.02}


@pytest.mark.parametrize("rise", [0.0, 2.0])
def test_amplitudes_of_orders(rise):
    """Within 0.3 dB, still or rising by 120 rpm a second."""
    rng = np.random.default_rng(3)
    time = np.arange(10 * RATE) / RATE
    speed = 30 + rise * time
    heard = hear(sounded(speed, AMPLITUDES, 0.004, rng), RATE, FOUR, 25, 60)
    assert heard.held.mean() > 0.95
    inner = slice(10, -10)  # the filter has no past at the start
    for order, amplitude in AMPLITUDES.items():
        place = list(FOUR.orders).index(order)
        power = (heard.levels.power - heard.levels.noise)[place, inner]
        assert_allclose(10 * np.log10(power / (amplitude**2 / 2)), 0, atol=0.3)


@pytest.mark.parametrize("rise", [0.0, 2.0])
def test_speed_near_the_bound(rise):
    """Within a small factor of the Cramér-Rao bound for tones, or of the wander allowed for.

    Variance of a tone's frequency from T seconds: 6 N/(4 π² A²/2 T³) with N the noise's density
    (Rife and Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591); orders add their information.
    """
    rng = np.random.default_rng(4)
    time = np.arange(12 * RATE) / RATE
    speed = 30 + rise * time
    noise = 0.5
    # At one steady speed half and double are rivals: a needle read once settles it.
    known = (Anchor(1.0, 30.0 + rise),)
    sound = sounded(speed, AMPLITUDES, noise, rng)
    heard = hear(sound, RATE, FOUR, 25, 62, anchors=known)
    density = noise**2 / (RATE / 2)
    information = sum(order**2 * size**2 for order, size in AMPLITUDES.items())
    window = 0.5  # s that the smoother leans on at least
    bound = np.sqrt(12 * density / (4 * np.pi**2 * information * window**3))
    truth = np.interp(heard.track.time, time, speed)
    error = np.exp(heard.track.log_speed) - truth
    inner = heard.held & (heard.track.time > 1) & (heard.track.time < 11)
    assert inner.mean() > 0.7
    rms = np.sqrt(np.mean(error[inner] ** 2))
    assert rms < 3 * bound
    # And honest: the stated deviation is no tighter than half, no wider than five times the error.
    stated = np.median((heard.deviation * truth)[inner])
    assert rms / 2 < stated < 5 * rms + 2e-4 * truth.max()


def test_an_uneven_engine_is_heard_by_its_half_orders():
    """Pulses at 0 and 405 of 720 degrees: at order k/2 they add to |1 + exp(-j k 405/720 2 pi)|."""
    layout = engine_layout(2, Cycle.FOUR_STROKE, np.radians([0.0, 405.0]))
    number = np.arange(1, 13)
    sizes = np.abs(1 + np.exp(-2j * np.pi * number * 405 / 720)) / number
    time = np.arange(6 * RATE) / RATE
    speed = 25 + 5 * time
    rng = np.random.default_rng(6)
    sound = sounded(speed, dict(zip(number / 2, sizes, strict=True)), 0.3, rng)
    heard = hear(sound, RATE, layout, 12, 120)
    truth = np.interp(heard.track.time, time, speed)
    assert heard.held.mean() > 0.9
    assert_allclose(np.exp(heard.track.log_speed)[heard.held], truth[heard.held], rtol=0.003)


def test_silence_and_nonsense_hold_no_speed():
    rng = np.random.default_rng(5)
    heard = hear(rng.standard_normal(10 * RATE), RATE, FOUR, 20, 70)
    assert heard.held.mean() < 0.1


def test_a_step_of_level_is_heard_when_it_is():
    """At 1.5 s of an order at one speed: half of the way to 5 ms, half a sample of the slow rate.

    It was 30 ms late.
    """
    time = np.arange(3 * REDUCED_RATE) / REDUCED_RATE
    sound = np.cos(2 * np.pi * 100 * time) * np.where(time < 1.5, 1, 2)
    shifted = shifted_orders(sound, np.array([2.0]), np.array([0, 3.0]), np.log([50.0, 50.0]))
    level = np.abs(shifted.values[0])
    # Away from the ends, where the filter has nothing to stand on.
    inner = slice(SLOW_RATE, 2 * SLOW_RATE)
    reached = np.interp(1.5, level[inner], shifted.time[inner])
    assert abs(reached - 1.5) < 0.005
    assert_allclose(level[SLOW_RATE], 1, rtol=0.01)
    assert_allclose(level[2 * SLOW_RATE], 2, rtol=0.01)
