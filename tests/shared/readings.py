"""Readings to put into a request."""

from __future__ import annotations

from typing import Any

Body = dict[str, Any]


def infrared(position: float, shown: float, **more: Any) -> Body:
    plain = {"thermometer": "infrared", "surface": "matt black paint"}
    return {"position_mm": position, "displayed_degC": shown, **plain, **more}


def contact(position: float, shown: float, **more: Any) -> Body:
    return {"position_mm": position, "displayed_degC": shown, "thermometer": "contact", **more}
