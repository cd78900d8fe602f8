"""Properties of pure gases at zero density, read from the table shipped with the package.

The table is made by ``python -m warmbranch.gas.make_property_table`` and is never edited by hand.
"""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple, cast

import numpy as np

from warmbranch.base.batch import FloatArray

SPECIES: tuple[str, ...] = ("N2", "O2", "CO2", "H2O", "Ar", "CO", "H2", "CH4")
"""Order of the species in every array that has a species axis."""

TABLE = Path(__file__).parent / "data" / "pure_gases.json"


class PureGases(NamedTuple):
    """Ideal-gas properties of all species on one uniform temperature grid.

    Parameters
    ----------
    molar_mass : (species,) array, kg/mol
    temperature : (nodes,) array, K
    molar_heat_capacity : (nodes, species) array, J/(mol K)
        At constant pressure.
    viscosity : (nodes, species) array, Pa s
    conductivity : (nodes, species) array, W/(m K)
    metadata : dict
        Where each column came from.
    """

    molar_mass: FloatArray
    temperature: FloatArray
    molar_heat_capacity: FloatArray
    viscosity: FloatArray
    conductivity: FloatArray
    metadata: dict[str, Any]


@lru_cache(maxsize=1)
def pure_gases() -> PureGases:
    """Load the table, once."""
    content = cast("dict[str, Any]", json.loads(TABLE.read_text(encoding="utf-8")))
    gases = content["gases"]
    columns = np.array([gases[name]["rows"] for name in SPECIES])
    return PureGases(
        molar_mass=np.array([gases[name]["molar_mass"] for name in SPECIES]),
        temperature=columns[0, :, 0],
        molar_heat_capacity=columns[:, :, 1].T.copy(),
        viscosity=columns[:, :, 2].T.copy(),
        conductivity=columns[:, :, 3].T.copy(),
        metadata=content["metadata"],
    )
