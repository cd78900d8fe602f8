"""Recordings with truths known: a drive that never was, made in the time domain.

All invented; nothing here is a measurement of a vehicle.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import signal

from shared.invented_cabin import cabin, coloured, controlled, drone_of, in_band, road, voices
from shared.invented_drives import Drive, duct_loss, pulses, speed_of, through, ways_past


@dataclass(frozen=True)
class Recording:
    samples: np.ndarray
    rate_Hz: int
    time_s: np.ndarray
    rpm: np.ndarray
    audible: np.ndarray
    drone_rpm: float | None
    drive: Drive = field(repr=False)


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
    if drive.road_dB_per_octave or drive.surface_dB:
        noise = noise * road(drive, time, rpm)
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
