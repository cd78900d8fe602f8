"""What is asked, and said, where nobody told in which air the readings were taken.

Who drives hears the drone in the wind of the road; who reads the skin mostly lies under a car that
stands still.
"""

from __future__ import annotations

QUESTION = "Did it stand still when you read the skin, or was it in the wind that the case tells?"

TWICE, MOST_TOLD = 1.5, 1000.0
"""Odds from which one is said to be likelier, and the most that is told of them."""


def message(odds: float, wind: float, *, mixed: bool) -> str:
    """What the readings say of it; ``odds`` of standing still, the case's air in m/s."""
    still, moving = "taken standing still", f"taken in the case's air of {wind:.2g} m/s"
    if 1 / TWICE < odds < TWICE:
        told = f"The readings do not tell: they may as well be {still} as {moving}."
    else:
        likely, other = (still, moving) if odds > 1 else (moving, still)
        times = min(max(odds, 1 / odds), MOST_TOLD)
        told = f"That they were {likely} is {times:.0f} times likelier than {other}."
    weighed = "Both are allowed for" if mixed else "The likelier is taken to be so"
    return f"{QUESTION} Nobody told. {told} {weighed}: give while_read.air_speed_m_s."
