"""How finely a batch is solved."""

from __future__ import annotations

from typing import NamedTuple

from warmbranch.heat.grid import DEFAULT_NODES
from warmbranch.heat.newton import TOLERANCES, Tolerances
from warmbranch.sound.discretisation import CELLS
from warmbranch.sound.resonance import MODES


class Fineness(NamedTuple):
    """Of grids and ends; as every answer has it unless told otherwise.

    Parameters
    ----------
    nodes : int
        Of the grid along the branch; ``nodes − 1`` a multiple of ``cells``.
    modes : int
        Resonances to seek, 1 to 3.
    cells : int
        Of the sound. Where a tone mixes the gas, or the bore steps, those of the default.
    tolerances : Tolerances
        Of the heat balance on its fine grid.
    """

    nodes: int = DEFAULT_NODES
    modes: int = MODES
    cells: int = CELLS
    tolerances: Tolerances = TOLERANCES
