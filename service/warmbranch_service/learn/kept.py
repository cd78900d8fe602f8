"""What is kept of a finished job, between the physics and the JSON.

Every job goes through its JSON before it is learned from, whether it was fitted now or long ago:
so a job added to a shop gives what all together give, to the last digit.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.fit.shared import named_scale, scale_of
from warmbranch.fit.taught import FitOutcome
from warmbranch.learn.summary import NAMES, Summary, Tone
from warmbranch_service.case.calibrations import place_of, place_told
from warmbranch_service.case.shop import FORM, KeptJob, KeptThermometer, KeptTone
from warmbranch_service.contract.rounding import digits

DIGITS = 10
"""Significant digits of what is kept: far more than any job tells."""


def kept_of(found: Summary, *, readings: int, tones: int, engine_order: float | None) -> KeptJob:
    """What is kept of a job as it leaves.

    Parameters
    ----------
    found : Summary
    readings, tones : int
        How many there were.
    engine_order : float or None
        For what is told of its tone.
    """
    tone = found.tone
    return KeptJob(
        form=FORM,
        name=found.name,
        outcome=found.outcome.value,
        readings=readings,
        tones=tones,
        engine_order=engine_order,
        place=place_told(found.place),
        centre=[None if np.isnan(value) else _told(value) for value in found.centre],
        spread=[None if np.isnan(value) else _told(value) for value in found.spread],
        seen=[_row(column) for column in found.of.T],
        shown=_row(found.shown),
        tone=None
        if tone is None
        else KeptTone(
            heard=_told(tone.heard),
            uncertainty=_told(tone.uncertainty),
            middle=_told(tone.middle),
            straight=_row(tone.straight),
            curved=_row(tone.curved),
            rest=_told(tone.rest),
            rest_shift=_told(tone.rest_shift),
        ),
        thermometers=[
            KeptThermometer(
                thermometer=kind_of(error), thermometer_name=name_of(error), seen=_row(row)
            )
            for error, row in zip(found.instruments, found.of_instruments, strict=True)
        ],
    )


def kind_of(error: str) -> Literal["infrared", "contact"]:
    """Kind of the thermometer whose scale error this is."""
    return "infrared" if error.startswith("infrared") else "contact"


def name_of(error: str) -> str:
    """Its name."""
    found = named_scale(error)
    assert found is not None, "only thermometers with a name are kept"
    return found[1]


def summary_of(kept: KeptJob, unknowns: Sequence[str]) -> Summary:
    """A job as the physics learns from it; ``unknowns`` are the names of its numbers."""
    at = [NAMES.index(name) for name in unknowns]

    def placed(values: Sequence[float | None], empty: float) -> FloatArray:
        found = np.full(len(NAMES), empty)
        found[at] = [empty if value is None else value for value in values]
        return found

    tone = kept.tone
    seen = [placed(row, 0.0) for row in kept.seen]
    return Summary(
        name=kept.name,
        place=place_of(kept.place),
        outcome=FitOutcome(kept.outcome),
        centre=placed(kept.centre, np.nan),
        spread=placed(kept.spread, np.nan),
        of=np.array(seen, dtype=np.float64).reshape(len(seen), len(NAMES)).T,
        shown=np.array(kept.shown, dtype=np.float64),
        tone=None
        if tone is None
        else Tone(
            heard=tone.heard,
            uncertainty=tone.uncertainty,
            middle=tone.middle,
            straight=placed(tone.straight, 0.0),
            curved=placed(tone.curved, 0.0),
            rest=tone.rest,
            rest_shift=tone.rest_shift,
        ),
        instruments=tuple(
            scale_of(f"{one.thermometer}_scale", one.thermometer_name) for one in kept.thermometers
        ),
        of_instruments=np.array([one.seen for one in kept.thermometers], dtype=np.float64).reshape(
            len(kept.thermometers), len(kept.shown)
        ),
    )


def _told(value: float) -> float:
    return digits(value, DIGITS)


def _row(values: FloatArray) -> list[float]:
    return [_told(value) for value in values]
