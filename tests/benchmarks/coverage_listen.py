"""How honest listening is: invented recordings with truths known, a row each, and the table.

    python tests/benchmarks/coverage_listen.py KIND FIRST COUNT --into rows.jsonl
    python tests/benchmarks/coverage_listen.py --table rows.jsonl
    python tests/benchmarks/coverage_listen.py --short rows.jsonl    # DEVELOPERS.md's

KIND is a key of ``KINDS``. Seeds below 1000 were used while the estimator was made, those from 1000
on never. Rows are appended, those that stand already are not made again; nothing is asserted. A
case, where one is used, is solved by the model for a branch whose resonance it has 2 % off (one
standard deviation, drawn), ``wrong`` 4 % off to either side.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, os.path.join(os.path.dirname(__file__), ".."))

import numpy as np
from scipy.signal import resample_poly

from shared.invented_drives import Drive
from shared.recordings import Recording, encoded, pair, record, some_drive
from warmbranch import Piece, one_case, solve
from warmbranch.case.engine import Cycle
from warmbranch.listen.layout import Layout, engine_layout
from warmbranch.listen.loudness import drone, loudness
from warmbranch.listen.notch import ExpectedNotch, Notch
from warmbranch.listen.shapes import TransmissionLoss
from warmbranch.listen.solve import HeardRecording, hear, notch_of
from warmbranch_service.listen.recordings import Limits, decoded

KINDS: dict[str, dict[str, Any]] = {
    "drives": {},
    "fixed": {},
    "moved": {"moved": True},
    "none": {"notch": False},
    "none, moved": {"notch": False, "moved": True},
    "rough": {"rough_levels_dB": 2.5},
    "second notch": {"second": 1.31},
    "mode on it": {"mode": True},
}
"""What is drawn; the last three break what the estimator assumes."""

CODECS = (None, "m4a", "webm")
"""Of drives in turn: none, AAC, Opus."""

CASE_SPREAD = 0.02
CASE_WRONG = 0.04
PRIOR_SPREAD = 0.04
"""As the service takes a case."""

CASES_OF_NONE = 3
"""Cases, anywhere from 55 to 160 Hz, that a recording without a branch is listened to with."""

Row = dict[str, Any]


def layout_of(recording: Recording) -> Layout:
    return engine_layout(recording.drive.cylinders, Cycle.FOUR_STROKE)


def heard_of(recording: Recording) -> HeardRecording:
    drive = recording.drive
    low, high = 0.85 * drive.slowest_rpm / 60, 1.15 * drive.fastest_rpm / 60
    return hear(recording.samples, recording.rate_Hz, layout_of(recording), low, high)


def case_of(frequency: float, strength: float) -> tuple[TransmissionLoss, float]:
    """Transmission loss of a branch that the model has resonate at a frequency, and that."""
    bore = 0.0573 * float(np.sqrt(strength))
    length = 115.0 / frequency
    for _ in range(4):
        answer = solve(
            one_case(
                outside_diameter=bore + 0.003,
                wall_thickness=0.0015,
                cap_thickness=0.002,
                pieces=(Piece(length),),
                main_outside_diameter=0.0603,
                main_wall_thickness=0.0015,
                gas_temperature=583.15,
                mass_flow=95 / 3600,
                air_temperature=291.15,
                air_speed=4.0,
            )
        )
        resonance = float(answer.resonance[0, 0])
        length *= resonance / frequency
    grid = resonance * np.linspace(0.02, 40, 8000)
    values = answer.transmission_loss(grid[None, :])[0]
    return lambda asked: np.interp(asked, grid, values), resonance


def noise_of(seed: int) -> dict[str, float]:
    """How the road's and wind's noise goes with the speed, and with the road."""
    rng = np.random.default_rng(seed + 123)
    return {
        "road_dB_per_octave": float(rng.uniform(0, 12)),
        "surface_dB": float(rng.uniform(0, 2)),
    }


def speed_row(recording: Recording, heard: HeardRecording) -> Row:
    """Of the engine speed: errors as shares, moments as shares of all."""
    truth = np.interp(heard.track.time, recording.time_s, recording.rpm)
    driven = np.interp(heard.track.time, recording.time_s, recording.audible * 1.0) > 0.99
    error = np.abs(np.exp(heard.track.log_speed) * 60 / truth - 1)
    held = heard.held & driven
    return {
        "signal_to_noise_dB": recording.drive.signal_to_noise_dB,
        "speed_error": float(np.median(error[held])) if held.any() else None,
        "held": float(np.mean(held)),
        "wrong": float(np.mean(held & (error > 0.03))),
        # Another order taken for the engine's through a tenth of the recording or more.
        "octave": bool(np.mean(held & (error > 0.2)) > 0.1),
    }


def drone_row(recording: Recording, heard: HeardRecording, layout: Layout) -> Row:
    """Of the loudest speed; its truth is in the seat, without noise and recorder."""
    if recording.drone_rpm is None or not heard.held.any():
        return {}
    curve = loudness(
        [heard.levels], [heard.track.log_speed], [heard.held], layout.orders, [heard.gain]
    )
    found = drone(curve)
    if found is None:
        return {}
    truth = recording.drone_rpm / 60
    return {
        "drone_error": found.revolutions_per_second / truth - 1,
        "drone_interval": [limit / truth - 1 for limit in found.interval_90],
        "gain_control": recording.drive.gain_control,
        "steady": heard.gain.steady,
        "follows": [heard.gain.quantile(level) for level in (0.05, 0.95)],
    }


def notch_row(found: Notch | None, truth: float | None) -> Row:
    """Of a notch; error and limits of the 90 % interval over the truth, less one."""
    row: Row = {"heard": found is not None and found.heard}
    if found is not None and found.heard and truth is not None:
        row["error"] = found.quantile(0.5) / truth - 1
        row["interval"] = [found.quantile(0.05) / truth - 1, found.quantile(0.95) / truth - 1]
    return row


def pair_rows(kind: str, seed: int) -> list[Row]:
    """A pair, listened to in every way."""
    options = dict(KINDS[kind])
    second, mode = options.pop("second", None), options.pop("mode", False)
    options |= noise_of(seed)
    before, after = pair(seed, signal_to_noise_dB=12.0, clipped=False, **options)
    truth = after.drive.notch_Hz
    if second is not None or mode:
        more: dict[str, Any] = {}
        if second is not None:
            more["second_notch_Hz"] = second * truth
        if mode:
            more["mode_on_Hz"] = truth
            before = record(replace(before.drive, mode_on_Hz=truth))
        after = record(replace(after.drive, **more))
    layout = layout_of(after)
    heard = heard_of(before), heard_of(after)
    rows = [
        speed_row(recording, one) for recording, one in zip((before, after), heard, strict=True)
    ]
    rows[0] |= drone_row(before, heard[0], layout)
    rows = [row | {"way": "speed"} for row in rows]
    if not heard[1].held.any():
        return rows
    references = [heard[0]] if heard[0].held.any() else []
    fixed = not KINDS[kind].get("moved", False)
    both = notch_of(references, [heard[1]], layout, same_place=fixed)
    rows.append(notch_row(both, truth) | {"way": "before and after"})
    rng = np.random.default_rng(seed + 60_000)
    off = CASE_SPREAD * float(rng.standard_normal())
    ways = [("after, case", off)]
    if kind == "fixed":
        ways += [("after, case 4 % low", -CASE_WRONG), ("after, case 4 % high", CASE_WRONG)]
    if truth is None:
        ways *= CASES_OF_NONE
    for way, error in ways:
        anywhere = float(np.exp(rng.uniform(np.log(55), np.log(160))))
        expected = truth * (1 + error) if truth is not None else anywhere
        loss, resonance = case_of(expected, after.drive.notch_strength)
        prior = ExpectedNotch(resonance, PRIOR_SPREAD)
        alone = notch_of([], [heard[1]], layout, loss=loss, prior=prior)
        rows.append(notch_row(alone, truth) | {"way": way})
        if kind == "fixed" and error != off:
            pinned = notch_of(references, [heard[1]], layout, loss=loss, prior=prior)
            rows.append(notch_row(pinned, truth) | {"way": way.replace("after", "both")})
    return rows


def through_codec(recording: Recording, kind: str) -> Recording:
    """The same at 48 kHz through a phone's codec at 64 kbit/s and this package's decoder."""
    wide = resample_poly(recording.samples, 48_000 // recording.rate_Hz, 1)
    found = decoded(encoded(wide, 48_000, kind), ("after", 0), Limits(phone=True))
    return replace(recording, samples=found.samples, rate_Hz=found.sample_rate_Hz)


def drive_rows(seed: int) -> list[Row]:
    """One recording of any kind."""
    drive: Drive = some_drive(seed, **noise_of(seed))
    recording = record(drive)
    codec = CODECS[seed % len(CODECS)]
    if codec is not None:
        recording = through_codec(recording, codec)
    heard = heard_of(recording)
    row = speed_row(recording, heard) | {"way": "speed", "codec": codec, "manner": drive.manner}
    return [row | drone_row(recording, heard, layout_of(recording))]


def made(kind: str, seeds: Sequence[int], path: Path) -> None:
    """Append the rows of these seeds, but for those that stand there."""
    stand = {(row["kind"], row["seed"]) for row in rows_of(path)} if path.exists() else set()
    with path.open("a") as file:
        for seed in seeds:
            if (kind, seed) in stand:
                continue
            rows = drive_rows(seed) if kind == "drives" else pair_rows(kind, seed)
            lines = [json.dumps({"kind": kind, "seed": seed, **row}) + "\n" for row in rows]
            file.write("".join(lines))
            file.flush()


def rows_of(path: Path) -> list[Row]:
    return [json.loads(line) for line in path.read_text().splitlines()]


def percent(values: Sequence[float], places: int = 1) -> str:
    return f"{100 * float(np.median(values)):.{places}f}" if len(values) else "-"


def share(values: Sequence[bool]) -> str:
    return f"{sum(values)} of {len(values)}"


def table(rows: list[Row]) -> None:
    """Print it all, in percent."""
    speed = [row for row in rows if row["way"] == "speed"]
    print(f"{len(speed)} recordings")
    print("| signal to noise | recordings | rpm error, median | held | sure but wrong | octaves |")
    print("| ---: | ---: | ---: | ---: | ---: | ---: |")
    for level in sorted({row["signal_to_noise_dB"] for row in speed}):
        some = [row for row in speed if row["signal_to_noise_dB"] == level]
        errors = [row["speed_error"] for row in some if row["speed_error"] is not None]
        print(
            f"| {level:.0f} dB | {len(some)} | {percent(errors, 3)} % "
            f"| {100 * np.mean([row['held'] for row in some]):.0f} % "
            f"| {100 * np.mean([row['wrong'] for row in some]):.2f} % "
            f"| {sum(row['octave'] for row in some)} |"
        )
    drives = [row for row in speed if "codec" in row]
    print("\n| drives | recordings | rpm error, median | sure but wrong | octaves |")
    print("| --- | ---: | ---: | ---: | ---: |")
    for key in ("codec", "manner"):
        for value in dict.fromkeys(row[key] for row in drives):
            some = [row for row in drives if row[key] == value]
            errors = [row["speed_error"] for row in some if row["speed_error"] is not None]
            print(
                f"| {value or 'no codec'} | {len(some)} | {percent(errors, 3)} % "
                f"| {100 * np.mean([row['wrong'] for row in some]):.2f} % "
                f"| {sum(row['octave'] for row in some)} |"
            )
    print(
        "\n| loudest speed | drives | median error | within 2 % | 90 % holds it | below | above |"
    )
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    for name, gains in (("steady gain", (0.0,)), ("automatic gain", (0.4, 0.8))):
        some = [row for row in speed if row.get("gain_control") in gains]
        errors = np.abs([row["drone_error"] for row in some])
        low, high = np.array([row["drone_interval"] for row in some]).reshape(-1, 2).T
        print(
            f"| {name} | {len(some)} | {percent(errors)} % | {share(list(errors <= 0.02))} "
            f"| {share(list((low <= 0) & (high >= 0)))} | {np.sum(high < 0)} | {np.sum(low > 0)} |"
        )
    print("\n| notch | heard | median error | worst | 90 % holds it | its width |")
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    for kind in KINDS:
        for way in dict.fromkeys(row["way"] for row in rows if row["kind"] == kind):
            if way == "speed":
                continue
            some = [row for row in rows if (row["kind"], row["way"]) == (kind, way)]
            found = [row for row in some if "error" in row]
            line = f"| {kind}: {way} | {share([row['heard'] for row in some])} "
            if found:
                errors = np.abs([row["error"] for row in found])
                low, high = np.array([row["interval"] for row in found]).T
                line += (
                    f"| {percent(errors)} % | {100 * errors.max():.1f} % "
                    f"| {share(list((low <= 0) & (high >= 0)))} | {percent(high - low)} % |"
                )
            else:
                line += "| | | | |"
            print(line)


def short_table(rows: list[Row]) -> None:
    """Print what was aimed at and what is met, narrowly."""
    speed = [row for row in rows if row["way"] == "speed"]
    loud = [row for row in speed if row["signal_to_noise_dB"] >= 12]
    errors = [row["speed_error"] for row in speed if row["speed_error"] is not None]
    steady = [row for row in speed if row.get("gain_control") == 0.0]
    lines: list[Sequence[object]] = [
        ("rpm, median error", "0.3 %", f"{percent(errors, 2)} % of {len(speed)}"),
        ("octave errors from 12 dB", 0, share([row["octave"] for row in loud])),
        ("sure but wrong", "0.5 %", f"{100 * np.mean([row['wrong'] for row in loud]):.1f} %"),
        (
            "loudest speed within 2 %",
            "all",
            share([abs(row["drone_error"]) <= 0.02 for row in steady]),
        ),
    ]
    for kind, way, name in (
        ("fixed", "before and after", "pairs, 1.5 %"),
        ("fixed", "after, case", "after and case, 3 %"),
        ("fixed", "after, case 4 % low", "case 4 % low, 3 %"),
        ("moved", "before and after", "phone moved"),
        ("second notch", "before and after", "second notch"),
        ("mode on it", "before and after", "mode on it"),
        ("rough", "before and after", "rough levels"),
    ):
        some = [row for row in rows if (row["kind"], row["way"]) == (kind, way)]
        found = [row for row in some if "error" in row]
        held = [row["interval"][0] <= 0 <= row["interval"][1] for row in found]
        off = percent(np.abs([row["error"] for row in found]))
        lines.append((name, "84 to 96 %", f"{off} %; {share(held)} ({len(some)})"))
    for name, way in (("none", "before and after"), ("none, with a case", "after, case")):
        some = [row for row in rows if row["kind"].startswith("none") and row["way"] == way]
        lines.append((name, "95 %", share([not row["heard"] for row in some])))
    print("| what | aim | met |\n| --- | --- | --- |")
    for line in lines:
        print("| " + " | ".join(str(cell) for cell in line) + " |")


if __name__ == "__main__":
    reader = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    reader.add_argument("kind", nargs="?", choices=list(KINDS))
    reader.add_argument("first", nargs="?", type=int, default=1000)
    reader.add_argument("count", nargs="?", type=int, default=10)
    reader.add_argument("--into", type=Path)
    reader.add_argument("--table", type=Path)
    reader.add_argument("--short", type=Path)
    given = reader.parse_args()
    if given.kind and given.into:
        made(given.kind, range(given.first, given.first + given.count), given.into)
    elif given.table:
        table(rows_of(given.table))
    elif given.short:
        short_table(rows_of(given.short))
    else:
        reader.error("Give KIND FIRST COUNT --into FILE, or --table or --short FILE.")
