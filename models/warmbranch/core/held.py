"""Arrays in the hands of the core: their addresses, and that they live as long as the call."""

from __future__ import annotations

from collections.abc import Iterable
from ctypes import Structure, addressof, c_char
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from warmbranch.base.batch import FloatArray
from warmbranch.core import records

if TYPE_CHECKING:
    from warmbranch.case.geometry import Branch
    from warmbranch.gas.gas import MixtureTable


class Held:
    """Addresses of arrays, which live as long as this does."""

    def __init__(self) -> None:
        self._arrays: list[Any] = []

    def at(self, array: NDArray[Any]) -> int:
        """Address of the array, or of a copy that the core can read."""
        even: Any = array if array.flags.c_contiguous else np.ascontiguousarray(array)
        self._arrays.append(even)
        if even.flags.writeable and even.nbytes:
            return addressof(c_char.from_buffer(even))  # a tenth of the other way's time
        return even.__array_interface__["data"][0]

    def fill(self, record: Structure, **arrays: Any) -> None:
        """Put addresses into a record's fields of these names."""
        for name, array in arrays.items():
            if array.dtype.kind in "iub" and name not in ("stop", "failed"):
                array = array.astype(np.float64)  # a caller's whole numbers
            setattr(record, name, self.at(array))

    def mixtures(
        self,
        gas: MixtureTable,
        air: MixtureTable | None = None,
        water: MixtureTable | None = None,
    ) -> records.Mixtures:
        """Tables of gases, of air and of water, as ``struct mixtures`` has them."""
        packed = gas.packed
        first, step = gas.grid
        made = records.Mixtures(
            gas=self.at(packed),
            gas_constant=self.at(gas.gas_constant),
            first=first,
            step=step,
            gas_count=len(packed),
            gas_pieces=packed.shape[1],
        )
        if air is not None:
            made.air, made.air_pieces = self.at(air.packed[0]), air.packed.shape[1]
            made.air_gas_constant = air.gas_constant[0]
        if water is not None:
            made.water, made.air_pieces = self.at(water.packed[0]), water.packed.shape[1]
            made.water_gas_constant = water.gas_constant[0]
        return made

    def pieces(self, branch: Branch, added: FloatArray | None = None) -> records.Pieces:
        """Centre-lines as ``struct pieces`` has them; ``added`` where sound is asked for."""
        lengths, radii = branch.laid
        found = records.Pieces(lengths.shape[1], self.at(lengths), self.at(radii))
        if branch.stepped.any():
            outside, bore = branch.tubes
            self.fill(found, outside=outside, bore=bore)
            if added is not None:
                self.fill(found, added=added)
        return found

    def means(self, means: Iterable[FloatArray]) -> records.CellMeans:
        """Arrays as ``struct cell_means`` has them."""
        return records.CellMeans(*map(self.at, means))
