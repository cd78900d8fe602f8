"""Between a tail pipe and a recording: a cabin of modes, wind, voices, a phone's gain control."""

from __future__ import annotations

import numpy as np
from scipy import signal

from shared.invented_drives import Drive, through


def cabin(frequency, drive: Drive, car):
    """A car's inside: modes, a seat's place among them, and what decays."""
    place = np.random.default_rng((drive.cabin_seed or drive.seed) + 77_000 * (1 + drive.moved))
    response = np.full(len(frequency), 0.6 + 0j)
    modes = np.sort(car.uniform(45, 500, 12))
    for mode in modes:
        quality = car.uniform(4, 12)
        shared = car.standard_normal()
        here = 0.6 * shared + (0.8 if drive.moved else 0.1) * place.standard_normal()
        response += (
            here
            * (frequency / mode)
            / ((1 - (frequency / mode) ** 2) * quality + 1j * frequency / mode)
            * np.sqrt(quality)
        )
    if drive.mode_on_Hz is not None:
        ratio = frequency / drive.mode_on_Hz
        response += 1.5 / (8 * (1 - ratio**2) + 1j * np.maximum(ratio, 1e-6))
    return response


def coloured(count, rate, rng, slope_dB_per_octave, corner):
    white = rng.standard_normal(count)

    def shape(f):
        return (1 + (f / corner) ** 2) ** (slope_dB_per_octave / 12)

    return through(white, rate, shape)


def road(drive: Drive, time, rpm):
    """How loud a road is by moments: with the speed, and with its surface, two seconds of each."""
    rng = np.random.default_rng((drive.drive_seed or drive.seed) + 40_000)
    every = np.arange(0, drive.seconds + 2, 2.0)
    surface = np.interp(time, every, rng.standard_normal(len(every)))
    level = drive.road_dB_per_octave * np.log2(rpm / np.median(rpm)) + drive.surface_dB * surface
    return 10 ** (level / 20)


def voices(count, rate, rng):
    """Bursts of a hundred-odd hertz with formants, pauses between: speech-like."""
    out = np.zeros(count)
    at = 0
    while at < count:
        length = int(rng.uniform(0.15, 0.5) * rate)
        pitch = rng.uniform(90, 220) * (
            1 + 0.08 * np.sin(np.linspace(0, rng.uniform(1, 4), length))
        )
        phase = np.cumsum(pitch) / rate
        buzz = signal.sawtooth(2 * np.pi * phase)
        for formant in (rng.uniform(300, 800), rng.uniform(900, 1800)):
            b, a = signal.iirpeak(formant, 4, fs=rate)
            buzz = buzz * 0.5 + signal.lfilter(b, a, buzz)
        piece = buzz * np.hanning(length)
        end = min(at + length, count)
        out[at:end] += piece[: end - at]
        at = end + int(rng.uniform(0.05, 1.5) * rate)
    return out


def controlled(sound, rate, strength):
    """Automatic gain: quick to turn down, slow to turn up."""
    block = rate // 50
    count = len(sound) // block
    level = np.sqrt(np.mean(np.square(sound[: count * block].reshape(count, block)), axis=1)) + 1e-9
    held = np.empty(count)
    state = level[0]
    for place, value in enumerate(level):
        pace = 0.25 if value > state else 0.012
        state += pace * (value - state)
        held[place] = state
    gain = (held / np.median(held)) ** -strength
    return sound * np.interp(np.arange(len(sound)), (np.arange(count) + 0.5) * block, gain)


def in_band(sound, rate):
    return signal.sosfiltfilt(
        signal.butter(4, [20, 1000], "bandpass", fs=rate, output="sos"), sound
    )


def a_weight_gain(f):
    """From the analogue poles of the standard's note, for the truth alone."""
    s = 2j * np.pi * np.maximum(f, 0.1)
    poles = 2 * np.pi * np.array([20.6, 20.6, 107.7, 737.9, 12194.0, 12194.0])
    return np.abs(7.39705e9 * s**4 / np.prod(s[:, None] + poles, axis=1))


def drone_of(clean, rate, rpm, width=50.0):
    """Speed at which the engine is loudest in the seat, A-weighted, by halves of a hundred rpm."""
    if np.ptp(rpm) < 600:
        return None
    heard = through(clean, rate, a_weight_gain)
    smooth = signal.sosfiltfilt(signal.butter(2, 2.0, fs=rate, output="sos"), heard**2)
    bins = np.floor(rpm / width).astype(int)
    values = np.unique(bins)
    level = np.array([np.mean(smooth[bins == value]) for value in values])
    level = np.convolve(np.pad(level, 1, "edge"), [0.25, 0.5, 0.25], "valid")
    inner = level[1:-1]
    return float((values[1 + int(np.argmax(inner))] + 0.5) * width)
