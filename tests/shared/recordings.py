"""Recordings with truths known: a drive that never was, made in the time domain.

Shares nothing with the estimator: no code, no window, no list of orders, no form of the notch. An
engine's cylinders fire unequal pulses; the branch is two pieces of duct, hot and cold, with losses;
a cabin is a sum of modes; then road, wind, voices, a phone's microphone and its gain control. All
invented; nothing here is a measurement of a vehicle.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field, replace

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


@dataclass(frozen=True)
class Recording:
    samples: np.ndarray
    rate_Hz: int
    time_s: np.ndarray
    rpm: np.ndarray
    audible: np.ndarray
    drone_rpm: float | None
    drive: Drive = field(repr=False)


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
    for harmonic in range(1, harmonics + 1):
        phasor = np.sum(strength * np.exp(-1j * harmonic * angles))
        size = np.abs(phasor) * (harmonic / drive.cylinders) ** -fall
        here = rpm / 1000
        level = np.zeros(len(rpm))
        for _ in range(2):  # slow swells over the speed
            level += 1.5 * np.sin(2 * np.pi * (here / car.uniform(1.5, 4) + car.uniform()))
        for _ in range(2):  # and quick ones
            level += drive.rough_levels_dB * np.sin(
                2 * np.pi * (here / car.uniform(0.25, 0.6) + car.uniform())
            )
        amplitude = size * 10 ** (level / 20) * (rpm / 2500) ** load
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


def record(drive: Drive) -> Recording:
    rate = 8000
    drive_rng = np.random.default_rng(drive.seed if drive.drive_seed is None else drive.drive_seed)
    count = int(drive.seconds * rate)
    time = np.arange(count) / rate
    rpm, audible = speed_of(drive, time, drive_rng)
    car_seed = drive.cabin_seed if drive.cabin_seed is not None else drive.seed
    tail = pulses(drive, rpm, rate, np.random.default_rng(car_seed + 10_000))
    tail *= np.interp(
        time,
        time,
        signal.sosfiltfilt(signal.butter(1, 4, fs=rate, output="sos"), audible.astype(float)),
    )

    def inside(f):
        return cabin(f, drive, np.random.default_rng(car_seed + 20_000))

    engine = through(tail, rate, inside)
    loudness = np.sqrt(np.mean(np.square(in_band(engine, rate))))
    drone = drone_of(engine, rate, rpm)
    if drive.notch_Hz is not None:

        def branch(f):
            gain = duct_loss(f, drive.notch_Hz, drive.notch_strength)
            if drive.second_notch_Hz is not None:
                gain = gain * duct_loss(f, drive.second_notch_Hz, drive.notch_strength)
            return gain + 10 ** (drive.flanking_dB / 20) * ways_past(f, drive.seed)

        engine = through(engine, rate, branch)
    noise = coloured(count, rate, drive_rng, -9.0, 60.0)
    if drive.wind:
        every = np.arange(0, drive.seconds + 1, 0.5)
        gust = np.exp(0.8 * np.interp(time, every, drive_rng.standard_normal(len(every))))
        blown = coloured(count, rate, drive_rng, -14.0, 25.0)
        noise = noise / np.std(noise) + 0.8 * gust * blown / np.std(blown)
    noise *= loudness / np.sqrt(np.mean(np.square(in_band(noise, rate))))
    total = engine + noise * 10 ** (-drive.signal_to_noise_dB / 20)
    if drive.speech:
        talk = voices(count, rate, drive_rng)
        total = total + 0.5 * loudness * talk / np.std(talk)
    if drive.pilot_Hz is not None:
        total = total + 0.3 * loudness * np.sin(2 * np.pi * drive.pilot_Hz * time)
    sos = signal.butter(2, drive.high_pass_Hz, "highpass", fs=rate, output="sos")
    total = signal.sosfilt(sos, total)
    if drive.gain_control:
        total = controlled(total, rate, drive.gain_control)
    total = total / np.max(np.abs(total)) * (3.0 if drive.clipped else 0.5)
    total = np.clip(total, -1, 1)
    if drive.rate_Hz != rate:
        total = signal.resample_poly(total, drive.rate_Hz // 100, rate // 100)
    every = rate // 20
    return Recording(
        total.astype(np.float32),
        drive.rate_Hz,
        time[::every],
        rpm[::every],
        audible[::every],
        drone,
        drive,
    )


def some_drive(seed: int, **fixed) -> Drive:
    """A drive like many, drawn by seed."""
    rng = np.random.default_rng(seed + 5_000_000)
    cylinders = int(rng.choice([3, 4, 6, 8]))
    drive = Drive(
        seed=seed,
        cylinders=cylinders,
        manner=str(rng.choice(["up", "down", "up", "up and down", "gears", "cruise"])),
        seconds=float(rng.uniform(15, 40)),
        slowest_rpm=float(rng.uniform(1000, 1600)),
        fastest_rpm=float(rng.uniform(3300, 5200)),
        signal_to_noise_dB=float(rng.choice([0, 6, 12, 18])),
        gain_control=float(rng.choice([0.0, 0.0, 0.4, 0.8])),
        speech=bool(rng.random() < 0.25),
        wind=bool(rng.random() < 0.25),
        high_pass_Hz=float(rng.uniform(40, 120)),
        clipped=bool(rng.random() < 0.1),
    )
    return replace(drive, **fixed)


def pair(
    seed: int, *, moved: bool = False, notch: bool = True, **fixed
) -> tuple[Recording, Recording]:
    """Before and after of one car, driven twice, up through the revs; the notch is swept."""
    rng = np.random.default_rng(seed + 9_000_000)
    base = some_drive(
        seed, manner=str(rng.choice(["up", "down", "up and down"])), cabin_seed=seed, **fixed
    )
    main = base.cylinders / 2
    place = np.exp(rng.uniform(np.log(base.slowest_rpm * 1.2), np.log(base.fastest_rpm * 0.85)))
    before = record(replace(base, drive_seed=seed + 1))
    after = record(
        replace(
            base,
            drive_seed=seed + 2,
            moved=moved,
            notch_Hz=place * main / 60 if notch else None,
            notch_strength=float(rng.uniform(0.4, 1.2)),
            flanking_dB=float(rng.uniform(-30, -19)),
        )
    )
    return before, after


FORMATS = {"m4a": ("ipod", "aac"), "webm": ("webm", "libopus"), "3gp": ("3gp", "aac")}


def encoded(samples, rate: int, kind: str, bit_rate: int = 64_000) -> bytes:
    """A file as phones write them, by a real codec."""
    import av

    container_format, codec = FORMATS[kind]
    buffer = io.BytesIO()
    with av.open(buffer, "w", format=container_format) as container:
        stream = container.add_stream(codec, rate=rate, layout="mono")
        stream.bit_rate = bit_rate
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(samples, np.float32)[None], format="fltp", layout="mono"
        )
        frame.sample_rate = rate
        for packet in stream.encode(frame):
            container.mux(packet)
        for packet in stream.encode(None):
            container.mux(packet)
    return buffer.getvalue()


VAN_QUIET_RPM = 2240.0
"""Where the branch of the invented van's recording after bites."""


def van_before_and_after() -> tuple[Recording, Recording]:
    """Two pulls of an invented four-cylinder van that drones at 2375 rpm, phone left in place."""
    pull = Drive(
        seed=315,
        seconds=14.0,
        slowest_rpm=1500.0,
        fastest_rpm=3300.0,
        signal_to_noise_dB=18.0,
        high_pass_Hz=45.0,
        cabin_seed=315,
    )
    notch = VAN_QUIET_RPM / 60 * pull.cylinders / 2
    after = replace(pull, drive_seed=317, notch_Hz=notch, notch_strength=0.8, flanking_dB=-24.0)
    return record(replace(pull, drive_seed=316)), record(after)
