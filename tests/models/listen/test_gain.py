"""What a recorder's automatic gain did, on sounds whose gain is known."""

from __future__ import annotations

import numpy as np
import pytest

from shared.invented_cabin import controlled
from warmbranch.listen.gain import BLOCK, followed_gain, gain_heard, known_gain
from warmbranch.listen.loudness import DRIFT, loudness
from warmbranch.listen.orders import OrderLevels

RATE = 8000
TIME = np.arange(0.2, 19.8, 0.1)


def test_a_gain_is_found_from_what_it_left():
    """Giannoulis, Massberg and Reiss 2012, the branching detector, written forwards."""
    rng = np.random.default_rng(1)
    share, attack, release = 0.6, 0.1, 1.5
    sound = -30 + np.cumsum(rng.standard_normal(500))
    followed = sound[0]
    gain = np.empty(len(sound))
    for place, level in enumerate(sound):
        decay = np.exp(-BLOCK / (attack if level > followed else release))
        followed = decay * followed + (1 - decay) * level
        gain[place] = -share * followed
    told = followed_gain(sound + gain, np.array([share]), np.array([attack]), np.array([release]))[
        0
    ]
    assert told == pytest.approx(gain, abs=1e-9)


def a_pull(strength, rise_dB=0.0):
    """An engine's tone that swells, in noise that rises; what came in, what was recorded, speed."""
    rng = np.random.default_rng(5)
    time = np.arange(20 * RATE) / RATE
    log_speed = np.log(25) + 0.9 * time / 20
    swell = 8 * np.sin(2 * np.pi * time / 7) + 5 * np.sin(2 * np.pi * time / 2.9)
    tone = 10 ** (swell / 20) * np.sin(2 * np.pi * 90 * time)
    noise = 0.05 * 10 ** (rise_dB * (log_speed - log_speed.mean()) / 20)
    sound = tone + noise * rng.standard_normal(len(time))
    recorded = controlled(sound, RATE, strength) if strength else sound
    return sound, recorded, np.interp(TIME, time, log_speed)


@pytest.mark.parametrize("rise_dB", [0.0, 15.0])
@pytest.mark.parametrize("strength", [0.0, 0.6])
def test_gain_is_told_by_the_noise(strength, rise_dB):
    """By another detector than is assumed: of amplitudes, not of decibels."""
    sound, recorded, log_speed = a_pull(strength, rise_dB)
    heard = gain_heard(recorded, RATE, TIME, log_speed, np.ones(len(TIME), bool))
    assert heard.told
    assert heard.chance.sum() == pytest.approx(1)
    size = RATE // 50
    powers = [np.square(one).reshape(-1, size).mean(axis=1) for one in (sound, recorded)]
    middles = (np.arange(len(powers[0])) + 0.5) / 50
    truth = np.interp(TIME, middles, 10 * np.log10(powers[1] / powers[0]))
    # What is left, as the detectors differ, is what the loudest speed's interval allows for.
    assert np.std(heard.mean - truth) < DRIFT
    if strength:
        assert np.std(truth) > 2 * DRIFT
        assert heard.steady < 0.01
        # The grid's step.
        assert heard.quantile(0.05) - 0.08 <= strength <= heard.quantile(0.95) + 0.08
    else:
        assert heard.steady > 0.9


def test_an_overdriven_recording_tells_nothing():
    _, recorded, log_speed = a_pull(0.6)
    clipped = np.clip(recorded, -0.5, 0.5)
    heard = gain_heard(clipped, RATE, TIME, log_speed, np.ones(len(TIME), bool))
    assert not heard.told
    assert heard.steady == pytest.approx(0.5)


def test_a_known_gain_is_taken_off_the_loudness():
    """One order, one level, a gain that falls by 10 dB: levels are even again."""
    gain = -np.linspace(0, 10, 60)
    power = 10 ** (gain / 10)[None]
    levels = OrderLevels(power, np.zeros((1, 60)))
    speed = np.log(np.linspace(20, 70, 60))
    held = np.ones(60, bool)
    curve = loudness([levels], [speed], [held], np.array([2.0]), [known_gain(gain)])
    assert np.ptp(curve.level) < 1e-9
    assert curve.may is None
