"""What is asked, and said, where nobody told how it was while the readings were taken.

Who drives hears the drone in the wind of the road; who reads the skin mostly lies under a car that
stands still, perhaps with its engine at idle.
"""

from __future__ import annotations

from warmbranch.fit.standing import DECIDED

QUESTION = "Did it stand still when you read the skin, or was it in the wind that the case tells?"

TWICE, MOST_TOLD = 1.5, 1000.0
"""Odds from which one is said to be likelier, and the most that is told of them."""


def told(odds: float, wind: float) -> str:
    """What the readings say of it; ``odds`` of standing still, the case's air in m/s."""
    still, moving = "standing still", f"in the case's air of {wind:.2g} m/s"
    if 1 / TWICE < odds < TWICE:
        return f"The readings do not tell whether they were taken {still} or {moving}."
    likely, other = (still, moving) if odds > 1 else (moving, still)
    times = min(max(odds, 1 / odds), MOST_TOLD)
    return f"That the readings were taken {likely} is {times:.0f} times likelier than {other}."


def message(odds: float, wind: float) -> str:
    """The same with the question, what follows, and what settles it."""
    decided = max(odds, 1 / odds) > (1 - DECIDED) / DECIDED
    taken = "That is taken to be so" if decided else "Both are allowed for"
    return (
        f"{QUESTION} Nobody told. {told(odds, wind)} {taken}; to settle it, give "
        "while_read.air_speed_m_s."
    )


IDLING = "Was the engine held where it drones when you read the skin, or was it at idle?"

ASKED = 0.3
"""Chance of having idled from which it is asked."""


def idled(chance: float) -> str:
    """What the readings say of an engine at idle."""
    likely = "more likely than not" if chance > 0.5 else "quite possible"
    return f"That they were read with the engine at idle is {likely} ({100 * chance:.0f} %)."


def idling_message(chance: float) -> str:
    """The same with the question, what follows, and what settles it."""
    return (
        f"{IDLING} Nobody told. {idled(chance)} It is allowed for; to settle it, give "
        "while_read.gas_temperature_degC and while_read.mass_flow_kg_h as they were, or read again "
        "at the engine speed that drones."
    )
