"""Two invented cases to start from. Nobody measured them."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import Any

DEMOS = {
    "van": ("camper_van.json", "An invented four-cylinder petrol camper van that drones"),
    "generator": (
        "standby_generator.json",
        "An invented three-cylinder diesel standby generator with a wrapped, upright branch",
    ),
}
"""Name to file and description."""

UNCERTAIN_VAN = (
    "The invented camper van with all that is uncertain about it: what may its quiet rpm be, and "
    "what matters for that"
)
"""What the example of a sweep is."""


@cache
def demo_text(name: str) -> str:
    """The request of one demo, as JSON text."""
    return files(__name__).joinpath(DEMOS[name][0]).read_text(encoding="utf-8")


def openapi_examples() -> dict[str, Any]:
    """The demos as examples in the OpenAPI document."""
    return {
        name: {"summary": text, "value": json.loads(demo_text(name))}
        for name, (_, text) in DEMOS.items()
    }
