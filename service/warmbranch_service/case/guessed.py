"""Numbers of a case that its writer marks as guessed, and how wide each is then taken to be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from warmbranch.case.closures import CAP_PRESSURE
from warmbranch_service.contract.deviations import Deviation
from warmbranch_service.contract.fields import OneOf, RequestModel, refusal


@dataclass(frozen=True)
class Guessable:
    """A field that may be marked as guessed.

    Parameters
    ----------
    unit : str
        Of a standard deviation; kelvin of a temperature.
    usual : str
        What is believed where no standard deviation is given. Our judgement.
    most : float, optional
        Largest standard deviation; None for the number itself, so that it stays above 0.
    """

    unit: str
    usual: str
    most: float | None = None


GUESSABLE = {
    "main_pipe.gas_temperature_degC": Guessable(
        "K", "a fifth of its excess over the air, 50 K at least", 300.0
    ),
    "main_pipe.mass_flow_kg_h": Guessable("kg/h", "95 % within a factor of two"),
    "surroundings.air_temperature_degC": Guessable("K", "10 K", 40.0),
    "surroundings.radiant_temperature_degC": Guessable("K", "20 K", 150.0),
    "surroundings.air_speed_m_s": Guessable("m/s", "95 % within a factor of five"),
    "surroundings.hot_neighbour.temperature_degC": Guessable("K", "50 K", 200.0),
    "surroundings.hot_neighbour.view_share": Guessable("1", "two fifths of it"),
    "branch.emissivity": Guessable("1", "95 % between 0.12 and 0.76, of one of 0.4", 0.3),
    "branch.wrap.conductivity_W_mK": Guessable("W/mK", "95 % within a factor of 1.6"),
    "branch.rise_deg": Guessable("deg", "3 degrees", 10.0),
    "closures.mixing.cap_pressure_Pa": Guessable(
        "Pa", f"95 % within a factor of {CAP_PRESSURE.high / CAP_PRESSURE.median:g}"
    ),
}
"""By path below ``case``. A spread without a standard deviation of one's own is our judgement."""

Name = Annotated[str, OneOf("field that can be guessed", GUESSABLE)]


class Guess(RequestModel):
    """A number that was guessed, with a spread of one's own."""

    field: Name = Field(description="Path below case.", examples=["main_pipe.gas_temperature_degC"])
    standard_deviation: Annotated[float | None, Deviation(nullable=True)] = Field(
        default=None,
        description="How far off it may be, as a standard deviation in the field's unit; of a "
        "temperature, in kelvin. Of a flow, a speed, a conductivity or a pressure at most the "
        "number itself. Default null: as for the bare name.",
        examples=[40],
    )


def _kind(value: Any) -> Literal["name", "spread"]:
    return "spread" if isinstance(value, (dict, Guess)) else "name"


Guessed = Annotated[
    Annotated[Name, Tag("name")] | Annotated[Guess, Tag("spread")], Discriminator(_kind)
]

GUESSED_TEXT = (
    "Numbers of the case that are guesses: their paths, or paths with a standard deviation. They "
    "widen the interval of a steady answer and what a length is built longer for. By its bare name "
    + "; ".join(f"{name}: {one.usual}" for name, one in GUESSABLE.items())
    + ". These spreads are judgements without a source. What the case leaves open is uncertain "
    "anyway. A fit widens its priors of gas and air temperature, flow, emissivity and tone by them "
    "and takes the others as given. Default none."
)

GUESS_RULES = {
    "guessed_twice": "guessed names each field once.",
    "nothing_to_guess": "guessed names fields that hold a number in this case.",
    "deviation_too_wide": "standard_deviation of a guess is at most the number itself, of "
    "an emissivity 0.3, of a temperature 300 K (gas), 40 K (air), 150 K (radiant), of a "
    "rise 10 degrees.",
}
"""Code of the refusal to the rule."""


def spread_of(guessed: Sequence[str | Guess], name: str) -> Guess | None:
    """The guess of one field, if it is one."""
    for one in guessed:
        guess = Guess(field=one) if isinstance(one, str) else one
        if guess.field == name:
            return guess
    return None


def refuse_guesses(case: Any, guessed: Sequence[str | Guess]) -> None:
    """Refuse guesses of what the case does not give, twice of one field, or too wide."""
    seen: set[str] = set()
    for place, one in enumerate(guessed):
        guess = Guess(field=one) if isinstance(one, str) else one
        at: list[str | int] = ["guessed", place]
        name = guess.field
        if name in seen:
            raise refusal(
                "guessed_twice",
                f"{name} is marked as guessed twice.",
                "Name each field once.",
                at=at,
                value=name,
            )
        seen.add(name)
        value = value_at(case, name)
        if value is None:
            raise refusal(
                "nothing_to_guess",
                f"{name} is marked as guessed, but the case does not give it.",
                "Give it, or leave it out of guessed: what is left open is uncertain anyway.",
                at=at,
                value=name,
            )
        _refuse_too_wide(guess, value, at)


def _refuse_too_wide(guess: Guess, value: float, at: list[str | int]) -> None:
    deviation, known = guess.standard_deviation, GUESSABLE[guess.field]
    most = value if known.most is None else known.most
    if deviation is None or deviation <= most:
        return
    remedy = f"Give at most {most:g} {known.unit}." if most > 0 else "Leave it out."
    if known.most is None:
        remedy += f" Of {guess.field} it is at most the number itself."
    raise refusal(
        "deviation_too_wide",
        f"A standard deviation of {deviation:g} {known.unit} is more than a guess of "
        f"{value:g} can have.",
        remedy,
        unit=known.unit,
        at=[*at, "standard_deviation"],
        value=deviation,
    )


def value_at(case: Any, name: str) -> float | None:
    """The number at a path below the case; None where there is none."""
    here = case
    for part in name.split("."):
        here = getattr(here, part, None)
    return here
