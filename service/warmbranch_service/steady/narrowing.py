"""What would narrow the interval of an answer, in words."""

from __future__ import annotations

from warmbranch.belief.prediction import ExpectedResonance
from warmbranch_service.case.belief import untold_gas
from warmbranch_service.case.schema import Case
from warmbranch_service.contract.rounding import places
from warmbranch_service.steady.answer_schema import Narrowing

LEAST_SHARE = 0.02
"""Of the variance: less is not worth telling."""

HEARD = "Listen at which engine speed the finished branch is quiet, and fit."
SKIN = "Read the skin along the branch, running warm, and fit."
REMEDIES = {
    "gas_temperature": "Read the main pipe's skin beside the mouth, on a dab of matt black paint, "
    "and give it as skin_reading; or hold a probe in the gas.",
    "air_temperature": "Measure the air beside the branch, running warm.",
    "radiant_temperature": "Give the temperature of what the branch faces.",
    "air_speed": "Give the air's speed along the branch.",
    "rise": "Measure how far the branch rises from mouth to cap.",
    "wrap_conductivity": "Ask the wrap's maker for its conductivity, as fitted.",
    "mass_flow": "Give the gas flow, or the engine's displacement and speed.",
    "mouth_exchange": SKIN,
    "tone_exchange": "Give the tone's pressure, or read the skin close to the mouth and fit.",
    "stirring": SKIN,
    "reach": SKIN,
    "sharpness": SKIN,
    "pulsation": SKIN,
    "buoyancy": SKIN,
    "stirred_film": SKIN,
    "stanton": SKIN,
    "outer_film_factor": "Give the air's speed along the branch, or read the skin and fit.",
    "emissivity": "Name the branch's surface, or give its emissivity.",
    "mouth_factor": HEARD,
    "tone": HEARD,
}
"""By unknown: how to know it better."""


def narrowing(found: ExpectedResonance, case: Case) -> list[Narrowing]:
    """What narrows most, first; what hardly counts is left out."""
    untold = untold_gas(case)
    gas = "" if untold is None else f"Say what burns and with how much air: {untold}. "
    remedies = {**REMEDIES, "tone": gas + HEARD}
    return [
        Narrowing(unknown=name, share_percent=places(100 * share, 0), remedy=remedies[name])
        for name, share in zip(found.names, found.shares.tolist(), strict=True)
        if share >= LEAST_SHARE
    ]
