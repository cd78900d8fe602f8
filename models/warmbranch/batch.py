"""Structures of arrays: every physical object describes many designs at once.

A field of a ``Batched`` dataclass is an array whose leading axis is the design. Scalars are
promoted to one design, so ``Surroundings(air_temperature=293.15, ...)`` describes a batch of one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any, Self, cast

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
ComplexArray = NDArray[np.complex128]


class Batched:
    """Base of frozen dataclasses whose array fields share one leading design axis.

    Fields that are tuples (one entry a design) or nested ``Batched`` objects are carried along.
    """

    def __post_init__(self) -> None:
        for name, value in self._items():
            if not isinstance(value, (Batched, tuple)):
                array = np.asarray(value)
                array = array if array.dtype == np.bool_ else array.astype(np.float64, copy=False)
                object.__setattr__(self, name, np.atleast_1d(array))
        size = max(len(value) for _, value in self._items())
        for name, value in self._items():
            if len(value) not in (1, size):
                raise ValueError(f"{type(self).__name__}.{name}: {len(value)} designs, not {size}")
            if len(value) != size:
                object.__setattr__(self, name, _repeat(value, size))

    def __len__(self) -> int:
        return len(next(value for _, value in self._items()))

    def take(self, index: NDArray[np.intp] | NDArray[np.bool_] | slice) -> Self:
        """Select designs.

        Parameters
        ----------
        index : integer array, boolean array or slice
            Which designs, along the leading axis.
        """
        chosen = np.arange(len(self))[index]
        return type(self)(**{name: _take(value, chosen) for name, value in self._items()})

    def repeat(self, times: int) -> Self:
        """Repeat a batch of one ``times`` times."""
        return self.take(np.zeros(times, dtype=np.intp))

    @classmethod
    def concatenate(cls, batches: Sequence[Self]) -> Self:
        """Join batches along the design axis."""
        return cls(
            **{
                item.name: _join([getattr(batch, item.name) for batch in batches])
                for item in fields(cast("Any", cls))
            }
        )

    def _items(self) -> list[tuple[str, Any]]:
        return [(item.name, getattr(self, item.name)) for item in fields(cast("Any", self))]


def _take(value: Any, chosen: NDArray[np.intp]) -> Any:
    if isinstance(value, Batched):
        return value.take(chosen)
    if isinstance(value, tuple):
        entries = cast("tuple[Any, ...]", value)
        return tuple(entries[i] for i in chosen)
    return value[chosen]


def _repeat(value: Any, size: int) -> Any:
    return _take(value, np.zeros(size, dtype=np.intp))


def _join(values: list[Any]) -> Any:
    first = values[0]
    if isinstance(first, Batched):
        return type(first).concatenate(values)
    if isinstance(first, tuple):
        return tuple(entry for value in values for entry in value)
    return np.concatenate(values)
