"""The answer to a warm-up as a table to read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from warmbranch_service.contract.report import composed

if TYPE_CHECKING:
    from warmbranch_service.warmup.answer_schema import WarmupAnswer

ROWS = 16


def headline(answer: WarmupAnswer) -> str:
    """The answer in one line."""
    cold, warm, unit = answer.cold_quiet_rpm, answer.warm_quiet_rpm, "rpm"
    if cold is None or warm is None:
        cold, warm, unit = answer.cold_resonance_Hz, answer.warm_resonance_Hz, "Hz"
    if cold is None or warm is None:
        return "No resonance, cold or warm."
    after = answer.settled.within_1_percent_s
    when = "" if after is None else f", within 1 % after {after / 60:.1f} min"
    places = 0 if unit == "rpm" else 1
    return f"Quiet at {cold:.{places}f} {unit} cold, {warm:.{places}f} {unit} warm{when}."


def readable_warmup(answer: WarmupAnswer, *, full: bool = True) -> str:
    """The answer to ``POST /v1/warmup`` as text."""
    return composed(
        headline(answer),
        answer.summary,
        [_times(answer), _bands(answer), _facts(answer), _plateaus(answer), _conditions(answer)],
        cautions=answer.cautions,
        assumptions=answer.assumptions,
        model_version=answer.model_version,
        full=full,
    )


def _times(answer: WarmupAnswer) -> list[str]:
    series = answer.series
    head = f"  {'min':>6}{'gas °C':>8}{'Hz':>8}{'rpm':>7}{'dB':>7}  skin °C at"
    places = "".join(f"{position:>8.0f}" for position in answer.positions_mm)
    lines = ["Against time", f"{head}{places} mm"]
    count = len(series.time_s)
    rows = sorted({round(i * (count - 1) / (ROWS - 1)) for i in range(ROWS)})
    for i in rows:
        rpm = None if series.quiet_rpm is None else series.quiet_rpm[i]
        lines.append(
            f"  {series.time_s[i] / 60:>6.1f}{series.mouth_gas_degC[i]:>8.0f}"
            f"{_number(series.resonance_Hz[i], 8, 2)}{_number(rpm, 7, 0)}"
            f"{_number(series.transmission_loss_dB[i], 7, 1)}{'':>12}"
            + "".join(f"{value:>8.1f}" for value in series.skin_degC[i])
            + ("  wet" if series.condensation[i] else "")
        )
    return lines


def _bands(answer: WarmupAnswer) -> list[str]:
    bands = answer.bands
    if bands is None:
        return []
    unit, half, most = "Hz", bands.resonance_interval_50_Hz, bands.resonance_interval_90_Hz
    if bands.quiet_rpm_interval_50 is not None and bands.quiet_rpm_interval_90 is not None:
        unit, half, most = "rpm", bands.quiet_rpm_interval_50, bands.quiet_rpm_interval_90
    lines = [
        f"How sure, by the calibration; quiet {unit}",
        f"  {'min':>6}{'5 %':>9}{'25 %':>9}{'75 %':>9}{'95 %':>9}",
    ]
    count = len(bands.time_s)
    for i in sorted({round(j * (count - 1) / (ROWS - 1)) for j in range(ROWS)}):
        (low, high), (lowest, highest) = half[i], most[i]
        row = "".join(_number(value, 9, 1) for value in (lowest, low, high, highest))
        lines.append(f"  {bands.time_s[i] / 60:>6.1f}{row}")
    return lines


def _facts(answer: WarmupAnswer) -> list[str]:
    settled, drift, wet = answer.settled, answer.drift, answer.condensation
    rows = (
        ("within 1 % of warm after", settled.within_1_percent_s, "s"),
        ("within 0.3 % of warm after", settled.within_0_3_percent_s, "s"),
        ("cold less warm", drift.resonance_Hz, "Hz"),
        ("the same as quiet rpm", drift.quiet_rpm, "rpm"),
        ("the same as length", drift.length_equivalent_mm, "mm"),
        ("loss at the driven tone, warm", answer.driven.warm_loss_dB, "dB"),
        ("most of it lost to being cold", answer.driven.most_lost_to_cold_dB, "dB"),
        ("wall dry from", wet.dry_from_s, "s"),
        ("heat in at the mouth", answer.heat.entered_kJ, "kJ"),
        ("heat stored", answer.heat.stored_kJ, "kJ"),
    )
    return [
        "Summary",
        *(f"  {name:<34}{_number(value, 9, 1)} {unit}" for name, value, unit in rows),
    ]


def _plateaus(answer: WarmupAnswer) -> list[str]:
    lines = ["Plateaus, if they lasted"]
    for rest in answer.plateaus:
        lines.append(
            f"  {rest.from_s / 60:>6.1f} to {rest.to_s / 60:.1f} min"
            f"{_number(rest.resonance_Hz, 9, 2)} Hz{_number(rest.quiet_rpm, 8, 0)} rpm"
        )
    return lines


def _conditions(answer: WarmupAnswer) -> list[str]:
    found = answer.conditions
    if found is None:
        return []
    lines = [
        "Conditions, warm through",
        f"  {'air °C':>7}{'gas °C':>8}{'kg/h':>8}{'m/s':>6}{'Hz':>9}{'rpm':>8}{'dB':>7}",
    ]
    for one in found.grid:
        lines.append(
            f"  {one.air_temperature_degC:>7.0f}{one.gas_temperature_degC:>8.0f}"
            f"{one.mass_flow_kg_h:>8.1f}{one.air_speed_m_s:>6.1f}{_number(one.resonance_Hz, 9, 2)}"
            f"{_number(one.quiet_rpm, 8, 0)}{_number(one.transmission_loss_dB, 7, 1)}"
        )
    lines.append(
        f"  spread {_number(found.spread_Hz, 0, 2)} Hz, {_number(found.spread_rpm, 0, 0)} rpm"
    )
    for name, best in (("worst", found.best_for_worst), ("average", found.best_on_average)):
        if best is not None:
            lines.append(
                f"  best length for the {name}: {best.centreline_length_mm:.1f} mm, "
                f"{best.transmission_loss_dB:.1f} dB"
            )
    return lines


def _number(value: float | None, width: int, places: int) -> str:
    return f"{'–':>{width}}" if value is None else f"{value:>{width}.{places}f}"
