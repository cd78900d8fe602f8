"""Emissivities of the skins that pipes really have.

The total emissivity sets what the skin radiates; the longwave one, 8 to 14 µm, is what an
infrared thermometer sees. Bare metal spreads widely: take the value as a start and the range in
earnest.
"""

from __future__ import annotations

from dataclasses import dataclass

from warmbranch.base.errors import InputError


@dataclass(frozen=True)
class SurfaceRecord:
    """One kind of skin.

    Parameters
    ----------
    emissivity : float, dimensionless
        Total, hemispherical and normal not told apart, at the warmth of a branch.
    longwave_emissivity : float, dimensionless
        8 to 14 µm, seen head on.
    low, high : float, dimensionless
        Range met in practice, for both.
    source : str
    """

    emissivity: float
    longwave_emissivity: float
    low: float
    high: float
    source: str


_BRAMSON = "Bramson, Infrared Radiation: A Handbook for Applications (1968), as tabled by makers"
_OHMAN = "Öhman, emissivity measurements (1999), as tabled by makers of thermal cameras"
_JUDGED = "between tabled neighbours, our judgement"

SURFACES: dict[str, SurfaceRecord] = {
    "polished stainless": SurfaceRecord(
        0.16, 0.14, 0.07, 0.25, f"18-8 buffed, 20 °C, 0.16 total: {_BRAMSON}; longwave: {_OHMAN}"
    ),
    "new stainless": SurfaceRecord(
        0.28, 0.28, 0.15, 0.35, f"sheet as rolled, 0.28: {_OHMAN}; range: {_JUDGED}"
    ),
    "weathered stainless": SurfaceRecord(
        0.40, 0.40, 0.25, 0.60, f"new sheet 0.28, oxidised 0.85; {_JUDGED}"
    ),
    "heat-tinted stainless": SurfaceRecord(
        0.50, 0.50, 0.30, 0.70, f"new sheet 0.28, oxidised 0.85; {_JUDGED}"
    ),
    "oxidised stainless": SurfaceRecord(
        0.85, 0.80, 0.60, 0.90, f"18-8 oxidised at 800 °C, 60 °C, 0.85 total: {_BRAMSON}"
    ),
    "aluminised steel": SurfaceRecord(
        0.20, 0.25, 0.10, 0.40, "oxidised aluminium, 8 to 14 µm, 0.2 to 0.4: makers' tables"
    ),
    "new mild steel": SurfaceRecord(
        0.24, 0.20, 0.07, 0.60, f"freshly rolled, 20 °C, 0.24 total: {_BRAMSON}; {_JUDGED}"
    ),
    "oxidised mild steel": SurfaceRecord(
        0.79, 0.79, 0.70, 0.90, f"oxidised, 100 to 600 °C, 0.74 to 0.80 total: {_BRAMSON}"
    ),
    "rusty mild steel": SurfaceRecord(
        0.75, 0.80, 0.61, 0.96, f"red rust 0.61 to 0.85, heavy rust to 0.96: {_BRAMSON}"
    ),
    "weathered galvanised": SurfaceRecord(
        0.28, 0.40, 0.20, 0.85, f"oxidised sheet 0.28 total: {_BRAMSON}; heavy 0.85: {_OHMAN}"
    ),
    "oxidised titanium": SurfaceRecord(
        0.40, 0.40, 0.30, 0.60, f"oxidised at 540 °C, 200 °C, 0.40: {_BRAMSON}, from memory"
    ),
    "oxidised copper": SurfaceRecord(
        0.65, 0.65, 0.40, 0.80, "oxidised, 8 to 14 µm, 0.4 to 0.8: makers' tables"
    ),
    "matt black paint": SurfaceRecord(
        0.94, 0.95, 0.90, 0.98, f"heat-resistant lacquer 0.92, ultra-flat black 0.96: {_BRAMSON}"
    ),
    "vinyl tape": SurfaceRecord(
        0.95, 0.96, 0.93, 0.97, "black vinyl electrical tape below 80 °C: makers' tables"
    ),
    "masking tape": SurfaceRecord(0.93, 0.93, 0.90, 0.95, "0.92 to 0.95, from memory"),
    "fibre wrap": SurfaceRecord(
        0.90, 0.93, 0.80, 0.96, "asbestos cloth, 93 °C, 0.90 total: makers' tables, as a stand-in"
    ),
}
"""Skins by name."""


def surface(name: str) -> SurfaceRecord:
    """One skin of :data:`SURFACES`.

    Parameters
    ----------
    name : str
        A key of :data:`SURFACES`.
    """
    if name not in SURFACES:
        raise InputError(
            "No surface of that name is known.",
            field="covering.surface",
            value=name,
            unit="1",
            remedy=f"Give one of {', '.join(sorted(SURFACES))}, or an emissivity.",
        )
    return SURFACES[name]
