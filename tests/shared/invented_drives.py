"""An engine that never was: how it is driven, the sound of its pulses, and what a branch takes.

Shares nothing with the estimator: no code, no window, no list of orders, no form of the notch.
Cylinders fire unequal pulses; the branch is two pieces of duct, hot and cold, with losses.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

EVEN = {
    3: [0, 240, 480],
    4: [0, 180, 360, 540],
    6: [0, 120, 240, 360, 480, 600],
    8: [0, 90, 180, 270, 360, 450, 540, 630],
}
"""Crank angles of firing, degrees of a four-stroke's 720."""


@dataclass(frozen=True)
class Drive:
    """What is driven and what is in the way.

    ``signal_to_noise_dB`` compares engine and the rest between 20 Hz and 1 kHz over the recording.
    """

    seed: int
    cylinders: int = 4
    manner: str = "up"  # up, down, cruise, gears, up and down
    seconds: float = 20.0
    slowest_rpm: float = 1300.0
    fastest_rpm: float = 4200.0
    signal_to_noise_dB: float = 12.0
    notch_Hz: float | None = None
    notch_strength: float = 1.0  # cross-section of the branch over the main pipe's
    flanking_dB: float = -22.0  # what reaches the ear past the branch
    second_notch_Hz: float | None = None
    cabin_seed: int | None = None  # default: the seed's own
    moved: bool = False  # the phone lies elsewhere in that cabin
    mode_on_Hz: float | None = None  # an added cabin mode
    gain_control: float = 0.0  # 0 none, 1 strong
    speech: bool = False
    wind: bool = False
    rough_levels_dB: float = 1.0  # of an order's level about a smooth curve
    high_pass_Hz: float = 80.0
    clipped: bool = False
    rate_Hz: int = 8000
    drive_seed: int | None = None  # of what differs between two drives of one car
    pilot_Hz: float | None = None
    road_dB_per_octave: float = 0.0  # the road's and wind's noise over the speed, in one gear
    surface_dB: float = 0.0  # how that noise goes with what the road is made of


def speed_of(drive: Drive, time, rng):
    """Engine speed, rpm, and whether the clutch leaves it driven."""
    low, high = drive.slowest_rpm, drive.fastest_rpm
    share = time / time[-1]
    audible = np.ones(len(time), bool)
    bend = rng.uniform(0.7, 1.4)
    if drive.manner == "up":
        rpm = low + (high - low) * share**bend
    elif drive.manner == "down":
        rpm = high - (high - low) * share**bend
    elif drive.manner == "up and down":
        rpm = low + (high - low) * np.sin(np.pi * share) ** bend
    elif drive.manner == "cruise":
        rpm = np.full(len(time), rng.uniform(low + 0.2 * (high - low), high))
        rpm *= 1 + 0.02 * np.sin(2 * np.pi * time / rng.uniform(6, 12))
    else:  # gears: three pulls, half a second between them
        rpm = np.empty(len(time))
        pulls = np.minimum((share * 3).astype(int), 2)
        for pull in range(3):
            part = pulls == pull
            within = (share[part] * 3 - pull) / 1.0
            start = low * (1 + 0.25 * pull)
            rpm[part] = start + (high - start) * within
        change = np.abs(np.diff(pulls, prepend=0)) > 0
        for at in np.flatnonzero(change):
            half = int(0.25 * len(time) / time[-1])
            audible[max(at - half, 0) : at + half] = False
    wander = signal.lfilter([1], [1, -0.999], rng.standard_normal(len(time) // 40 + 2))
    wander = np.interp(np.arange(len(time)), np.arange(len(wander)) * 40, wander)
    rpm = rpm * (1 + 0.002 * wander / max(np.std(wander), 1e-9))
    return np.clip(rpm, low * 0.97, high * 1.03), audible


def pulses(drive: Drive, rpm, rate, car):
    """Sound pressure at the tail pipe, had it no branch: pulses through a pipe."""
    angles = np.radians(EVEN[drive.cylinders]) / 2  # of the cycle
    strength = 1 + 0.12 * car.standard_normal(drive.cylinders)
    angles = angles + 0.02 * car.standard_normal(drive.cylinders)
    cycle = np.cumsum(rpm) / 60 / 2 / rate * 2 * np.pi
    fall = car.uniform(0.5, 1.1)
    load = car.uniform(0.2, 1.2)
    sound = np.zeros(len(rpm))
    harmonics = int(min(2000 / (rpm.min() / 120), 6 * drive.cylinders))
    # Levels go slowly: between every 40th sample, where the speed has its bends, they are straight.
    every = np.arange(0, len(rpm) + 39, 40)
    samples = np.arange(len(rpm))
    here = np.interp(every, samples, rpm) / 1000
    for harmonic in range(1, harmonics + 1):
        phasor = np.sum(strength * np.exp(-1j * harmonic * angles))
        size = np.abs(phasor) * (harmonic / drive.cylinders) ** -fall
        level = np.zeros(len(here))
        for _ in range(2):  # slow swells over the speed
            level += 1.5 * np.sin(2 * np.pi * (here / car.uniform(1.5, 4) + car.uniform()))
        for _ in range(2):  # and quick ones
            level += drive.rough_levels_dB * np.sin(
                2 * np.pi * (here / car.uniform(0.25, 0.6) + car.uniform())
            )
        amplitude = size * 10 ** (level / 20) * (here / 2.5) ** load
        amplitude = np.interp(samples, every, amplitude)
        frequency = harmonic * rpm / 120
        amplitude = amplitude * (frequency < 0.45 * rate)
        sound += amplitude * np.cos(harmonic * cycle + np.angle(phasor) + car.uniform(0, 6.28))
    for _ in range(3):  # the tail pipe's own tones
        centre, sharp = car.uniform(60, 700), car.uniform(2, 5)
        b, a = signal.iirpeak(centre, sharp, fs=rate)
        sound = sound + car.uniform(0.3, 1.0) * signal.lfilter(b, a, sound)
    return sound


def duct_loss(frequency, first, strength):
    """Pressure past a branch over that without: hot and cold ducts in line, cap shut."""

    def reactance(f, length):
        hot, cold = 520.0, 380.0  # m/s
        lost = 1 - 0.012j * np.sqrt(100 / np.maximum(f, 1))
        k_hot, k_cold = 2 * np.pi * f / hot * lost, 2 * np.pi * f / cold * lost
        z_hot, z_cold = 1.0, hot / cold  # characteristic, same pressure
        end = -1j * z_cold / np.tan(k_cold * 0.6 * length)
        tan = np.tan(k_hot * 0.4 * length)
        inside = z_hot * (end + 1j * z_hot * tan) / (z_hot + 1j * end * tan)
        return inside + 1j * 2 * np.pi * f / hot * 0.03

    low, high = 0.05, 6.0
    for _ in range(60):  # the length whose reactance passes zero at `first`
        middle = (low + high) / 2
        if reactance(np.array(first), middle).imag < 0 and 2 * np.pi * first * middle / 450 < 2.2:
            low = middle
        else:
            high = middle
    z = reactance(np.maximum(frequency, 1.0), low)
    return 1 / (1 + strength / (2 * z))


def ways_past(f, seed):
    """The engine's other ways to the ear: four of them, late by some thousandths of a second."""
    rng = np.random.default_rng(seed + 30_000)
    delays, turns = rng.uniform(0.002, 0.02, 4), rng.uniform(0, 2 * np.pi, 4)
    return np.exp(2j * np.pi * f[:, None] * delays + 1j * turns).sum(axis=1) / 2


def through(sound, rate, response):
    size = 1 << (len(sound) + rate).bit_length()
    frequency = np.fft.rfftfreq(size, 1 / rate)
    return np.fft.irfft(np.fft.rfft(sound, size) * response(frequency), size)[: len(sound)]
