"""What is said of one case where finished jobs taught what is believed of it."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from warmbranch.belief.shop import JobTraits, Ranges, Shop
from warmbranch.case import case as physics
from warmbranch_service.case import calibration as schema
from warmbranch_service.case import calibrations
from warmbranch_service.contract.caution import Caution
from warmbranch_service.version import MODEL_VERSION

WORTH_TELLING = 0.05
"""Distrust of what was learned from which it is told."""

ROUNDED = 1e-6
"""Distrust that writing the ranges down may make."""


class _Measure(NamedTuple):
    """One thing by which a case may be unlike the jobs."""

    words: str
    unit: str
    told: str
    field: str


MEASURES = {
    "bore": _Measure("bore", "mm", "bore_mm", "branch.outside_diameter_mm"),
    "length": _Measure("length", "mm", "length_mm", "branch.length_mm"),
    "gas_temperature": _Measure(
        "gas temperature", "°C", "gas_temperature_degC", "main_pipe.gas_temperature_degC"
    ),
    "mass_flow": _Measure("gas flow", "kg/h", "mass_flow_kg_h", "main_pipe.mass_flow_kg_h"),
}
"""By the names of ``Ranges.distrust``: in words, and where a place and a case have it."""


def place_of(given: physics.Case, length: float | None = None) -> JobTraits:
    """Where one design stands; ``length``, m, goes for its own."""
    here = JobTraits.of(given)
    return here if length is None else replace(here, length=length)


def assumptions_of(learned: schema.Calibration | None) -> list[str]:
    """What stands in place of the usual spreads."""
    if learned is None or learned.shop is None:
        return []
    count, when = len(learned.shop.jobs), learned.shop.learned_at
    jobs = "one finished job" if count == 1 else f"{count} finished jobs"
    return [
        f"What {jobs} taught{'' if when is None else f', learned on {when},'} stands in place of "
        "the usual spreads of mouth, stirring and films, as if this branch had the same fuel and "
        "the same shape of mouth."
    ]


def cautions_of(
    learned: schema.Calibration | None,
    shop: Shop | None,
    given: physics.Case,
    length: float | None,
) -> list[Caution]:
    """Where the case is unlike the jobs, and where another model learned from them."""
    if learned is None or shop is None:
        return []
    found: list[Caution] = []
    here = place_of(given, length)
    distrust = shop.ranges.distrust(here)
    far = max(distrust, key=lambda name: distrust[name])
    if distrust[far] >= WORTH_TELLING:
        beyond = [
            _beyond(name, here, shop.ranges) for name, own in distrust.items() if own > ROUNDED
        ]
        what = (
            "What it learned is left aside, and the interval is the usual one."
            if distrust[far] >= 1
            else f"What it learned counts for {(1 - distrust[far]) * 100:.0f} % of the belief, and "
            "the interval is wider for it."
        )
        text = f"This branch is unlike the jobs of the shop: {'; '.join(beyond)}. {what}"
        field = f"case.{MEASURES[far].field}"
        found.append(Caution(code="outside_the_shop", message=text, field=field))
    if learned.model_version != MODEL_VERSION:
        text = (
            f"Model {learned.model_version} learned from the jobs of the shop, and model "
            f"{MODEL_VERSION} answers. Learn again from the jobs' own files."
        )
        field = "case.closures.calibration.model_version"
        found.append(Caution(code="shop_of_another_model", message=text, field=field))
    return found


def _beyond(name: str, here: JobTraits, ranges: Ranges) -> str:
    one = MEASURES[name]
    own, low, high = (
        f"{getattr(calibrations.place_told(place), one.told):.4g}"
        for place in (here, ranges.low, ranges.high)
    )
    theirs = low if low == high else f"{low} to {high}"
    return f"{one.words} {own} {one.unit}, theirs {theirs} {one.unit}"
