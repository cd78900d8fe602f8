"""The answer to ``POST /v1/length`` as text for people."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from warmbranch_service.contract.report import composed
from warmbranch_service.contract.text import listed, wrapped
from warmbranch_service.length.parts import NotchWidth
from warmbranch_service.steady.depth import in_words

if TYPE_CHECKING:
    from warmbranch_service.length.answer_schema import LengthAnswer

MOST_TRIM_ROWS = 16

WORTH_MOVING_DB = 3.0
"""What another place on the main pipe must gain to be told in the first line: half the power."""


def headline(answer: LengthAnswer) -> str:
    """The answer in one line."""
    text = (
        f"Right length {answer.centreline_length_mm:.1f} mm; build "
        f"{answer.build_length_mm:.1f} mm and trim."
    )
    place = answer.place
    if place is not None and place.here is not None and place.better:
        best = place.better[0].place
        gain = best.band_insertion_loss_dB - place.here.band_insertion_loss_dB
        if gain >= WORTH_MOVING_DB:
            text += f" Put it {best.position_mm:.0f} mm from the open end: {gain:.0f} dB more."
    return text


def readable_length(answer: LengthAnswer, *, full: bool = True) -> str:
    """The answer as text."""
    sections = [
        _lengths(answer),
        _contributions(answer),
        _trim(answer),
        _cuts(answer),
        _notch(answer),
        _diameters(answer),
        _points(answer),
        _loudness(answer),
        _space(answer),
        _place(answer),
        _pair(answer),
    ]
    return composed(
        headline(answer),
        answer.summary,
        sections,
        cautions=answer.cautions,
        assumptions=answer.assumptions,
        model_version=answer.model_version,
        full=full,
    )


def _row(name: str, value: float, unit: str) -> str:
    return f"  {name:<44}{value:>9.1f} {unit}"


def _lengths(answer: LengthAnswer) -> list[str]:
    low, high = answer.right_length_90_mm
    learned = "" if answer.certainty == "prior" else ", as learned"
    lines = [
        "Length along the centre-line",
        _row("right length", answer.centreline_length_mm, "mm"),
        _row("build", answer.build_length_mm, "mm"),
        _row("  of it for welds and cap", answer.allowance_mm, "mm"),
        f"  {'right length, 90 % of chance':<44}{low:>9.1f} to {high:.1f} mm{learned}",
        _row("one gas temperature all along", answer.one_temperature_length_mm, "mm"),
        _row("sum of local travel times", answer.transit_time_length_mm, "mm"),
    ]
    if answer.rpm_per_mm is None:
        lines.append(f"  {'each millimetre more':<44}{answer.Hz_per_mm:>9.3f} Hz")
    else:
        lines.append(f"  {'each millimetre more':<44}{answer.rpm_per_mm:>9.2f} rpm")
    return lines


def _contributions(answer: LengthAnswer) -> list[str]:
    told = answer.contributions_mm
    return [
        "What makes the length",
        _row("one-temperature rule", told.one_temperature_rule_mm, "mm"),
        *(
            f"  {name:<44}{value:>+9.1f} mm"
            for name, value in (
                ("gas composition", told.gas_composition_mm),
                ("cold tail", told.cold_tail_mm),
                ("mouth correction", told.mouth_correction_mm),
                ("wall losses", told.wall_losses_mm),
                ("bends", told.bends_mm),
                ("pieces of other tubes", told.bore_changes_mm),
            )
            if name != "pieces of other tubes" or value
        ),
    ]


def _trim(answer: LengthAnswer) -> list[str]:
    lines = ["Trim", f"  {'cut mm':>8}{'left mm':>10}{'rpm':>9}{'Hz':>9}"]
    steps = answer.trim_steps
    every = -(-len(steps) // MOST_TRIM_ROWS)
    for step in steps[::every]:
        rpm = "–" if step.quiet_rpm is None else f"{step.quiet_rpm:.0f}"
        lines.append(
            f"  {step.cut_mm:>8.1f}{step.length_mm:>10.1f}{rpm:>9}{step.frequency_Hz:>9.2f}"
        )
    return lines


def _cuts(answer: LengthAnswer) -> list[str]:
    outline = answer.outline
    lines = ["Cut list, as built"]
    for cut in answer.cut_list:
        sides = f", inside {cut.inside_mm:.1f}, outside {cut.outside_mm:.1f}"
        sides = "" if cut.kind == "straight" else sides
        lines.append(
            f"  {cut.piece}. {cut.kind}, {cut.from_mm:.1f} to {cut.to_mm:.1f} mm: "
            f"{cut.centreline_mm:.1f} mm{sides}"
        )
        lines += wrapped(cut.instruction, indent=" " * 5)
    box = outline.envelope
    lines.append(
        f"  {box.width_mm:.0f} mm along the main pipe, {box.depth_mm:.0f} away, "
        f"{box.height_mm:.0f} upward"
    )
    lines.append(f"  {outline.tube_mass_kg:.3g} kg of tube, {outline.cap_mass_kg:.2g} kg of cap")
    lines.append(
        f"  to buy: {outline.straight_tube_mm:.0f} mm of straight tube in {outline.bars} bar(s), "
        f"{outline.bends} bend(s)"
    )
    return lines


def _widths(widths: Iterable[NotchWidth]) -> str:
    parts: list[str] = []
    for width in widths:
        value, unit = width.width_rpm, "rpm"
        if value is None:
            value, unit = width.width_Hz, "Hz"
        told = "–" if value is None else f"{value:.0f} {unit}"
        parts.append(f"{told} at {width.transmission_loss_dB:g} dB")
    return ", ".join(parts)


def _notch(answer: LengthAnswer) -> list[str]:
    peak = answer.notch.peak_dB
    text = _widths(answer.notch.widths)
    told = "" if peak is None else f"; peak {in_words(peak, answer.notch.peak_90_dB)}"
    return ["Notch", *wrapped(f"{text}{told}")]


def _diameters(answer: LengthAnswer) -> list[str]:
    lines = ["Tube"]
    for tube in answer.diameters:
        length = "–" if tube.centreline_length_mm is None else f"{tube.centreline_length_mm:.1f} mm"
        lines.append(f"  {tube.name:<20}{length:>11}")
        lines += wrapped(f"{_widths(tube.widths)}. {tube.trade_off}", indent=" " * 6)
    return lines


def _points(answer: LengthAnswer) -> list[str]:
    if len(answer.operating_points) < 2:
        return []
    lines = ["Operating points"]
    for point in answer.operating_points:
        rpm = "–" if point.quiet_rpm is None else f"{point.quiet_rpm:.0f} rpm"
        left = "–" if point.loudest_left_dB is None else f"{point.loudest_left_dB:.1f} dB"
        lines.append(f"  {point.name:<24}{rpm:>10}  loudest left {left}")
    return lines


def _loudness(answer: LengthAnswer) -> list[str]:
    told = answer.loudness
    if told is None:
        return []
    return [
        "Loudness",
        f"  loudest {told.loudest_before_dB:.1f} dB, with the branch {told.loudest_after_dB:.1f} "
        f"dB at {told.loudest_after_rpm:.0f} rpm",
        f"  mean {told.mean_before_dB:.1f} dB, with the branch {told.mean_after_dB:.1f} dB",
    ]


def _space(answer: LengthAnswer) -> list[str]:
    if answer.outline.fits is None:
        return []
    lines = ["Space", f"  as bent, it {'fits' if answer.outline.fits else 'does not fit'}"]
    for fold in answer.folds:
        box = fold.envelope
        text = (
            f"{fold.description} Build {fold.build_length_mm:.1f} mm; {box.width_mm:.0f} × "
            f"{box.depth_mm:.0f} × {box.height_mm:.0f} mm."
        )
        lines += listed([text])
    return lines


def _place(answer: LengthAnswer) -> list[str]:
    place = answer.place
    if place is None:
        return []
    lines = ["Place, from the open end"]
    if place.here is not None:
        lines.append(
            f"  at {place.here.position_mm:.0f} mm: {place.here.insertion_loss_dB:.1f} dB at the "
            f"tone, {place.here.band_insertion_loss_dB:.1f} dB over the band"
        )
    for better in place.better:
        lines.append(
            f"  best near {better.place.position_mm:.0f} mm ({better.from_mm:.0f} to "
            f"{better.to_mm:.0f}): {better.place.band_insertion_loss_dB:.1f} dB over the band"
        )
    if place.nodes_mm:
        lines.append("  nodes at " + ", ".join(f"{x:.0f}" for x in place.nodes_mm) + " mm")
    return lines


def _pair(answer: LengthAnswer) -> list[str]:
    pair = answer.two_branches
    if pair is None:
        return []
    first, second = pair.staggered.length_mm
    return [
        "Two branches",
        *wrapped(pair.advice),
        f"  one length {pair.same_length.length_mm[0]:.1f} mm; staggered {first:.1f} and "
        f"{second:.1f} mm",
    ]
