"""Structures of arrays: every physical object describes many designs at once.

A field of a ``Batched`` dataclass is an array whose leading axis is the design. Scalars are
promoted to one design, so ``Surroundings(air_temperature=293.15, ...)`` describes a batch of one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from functools import cache
from typing import Any, Self, cast

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
ComplexArray = NDArray[np.complex128]
RealArray = NDArray[np.floating[Any]]
"""Of single or double precision."""


class Batched:
    """Base of frozen dataclasses whose array fields share one leading design axis.

    Fields that are tuples (one entry a design) or nested ``Batched`` objects are carried along.
    """

    def __post_init__(self) -> None:
        sizes: set[int] = set()
        for name in _names(type(self)):
            given = value = getattr(self, name)
            if not isinstance(value, (Batched, tuple)):
                value = _promoted(value)
                if value is not given:
                    object.__setattr__(self, name, value)
            sizes.add(len(cast("Any", value)))
        if len(sizes) > 1:
            self._match(max(sizes))

    def __len__(self) -> int:
        return len(getattr(self, _names(type(self))[0]))

    def _match(self, size: int) -> None:
        """Repeat fields of one design until all have ``size``."""
        for name, value in self._items():
            if len(value) not in (1, size):
                raise ValueError(f"{type(self).__name__}.{name}: {len(value)} designs, not {size}")
            if len(value) != size:
                object.__setattr__(self, name, _repeat(value, size))

    def take(self, index: NDArray[np.intp] | NDArray[np.bool_] | slice) -> Self:
        """Select designs.

        Parameters
        ----------
        index : integer array, boolean array or slice
            Which designs, along the leading axis.
        """
        size = len(self)
        if isinstance(index, slice) and index.indices(size) == (0, size, 1):
            return self
        chosen = index if isinstance(index, slice) else np.arange(size)[index]
        return self._trusted({name: _take(value, chosen) for name, value in self._items()})

    def repeat(self, times: int) -> Self:
        """Repeat a batch of one ``times`` times."""
        return self.take(np.zeros(times, dtype=np.intp))

    def is_like(self, other: Self) -> bool:
        """Whether another one holds the same to the last digit."""
        pairs = zip(self._items(), other._items(), strict=True)
        return all(_equal(own, theirs) for (_, own), (_, theirs) in pairs)

    def changed(self, **values: Any) -> Self:
        """The same with other values of some fields, arrays of as many designs: not checked again.

        What ``dataclasses.replace`` does, at a tenth of its cost.
        """
        return self._trusted({name: values.get(name, value) for name, value in self._items()})

    @classmethod
    def concatenate(cls, batches: Sequence[Self]) -> Self:
        """Join batches along the design axis."""
        if len(batches) == 1:
            return batches[0]
        return cls._trusted(
            {name: _join([getattr(batch, name) for batch in batches]) for name in _names(cls)}
        )

    @classmethod
    def of_parts(cls, **values: Any) -> Self:
        """One of arrays that are known to fit: not checked again, which would cost more."""
        return cls._trusted(values)

    @classmethod
    def _trusted(cls, values: dict[str, Any]) -> Self:
        """One made of parts of batches, which need no second look: it would cost more than they."""
        made = object.__new__(cls)
        made.__dict__.update(values)
        return made

    def _items(self) -> list[tuple[str, Any]]:
        return [(name, getattr(self, name)) for name in _names(type(self))]


@cache
def _names(kind: type[Batched]) -> tuple[str, ...]:
    return tuple(item.name for item in fields(cast("Any", kind)))


def _equal(one: Any, other: Any) -> bool:
    if isinstance(one, Batched):
        return one.is_like(other)
    if isinstance(one, np.ndarray):
        numbers = cast("NDArray[Any]", one)
        return np.array_equal(numbers, other, equal_nan=numbers.dtype.kind == "f")
    return bool(one == other)


def _promoted(value: Any) -> NDArray[Any]:
    array = np.asarray(value)
    if array.dtype.char not in "d?":  # neither double nor bool
        array = array.astype(np.float64)
    return array if array.ndim else array[None]


def _take(value: Any, chosen: NDArray[np.intp] | slice) -> Any:
    if isinstance(value, Batched):
        return value.take(chosen)
    if isinstance(value, tuple):
        entries = cast("tuple[Any, ...]", value)
        return entries[chosen] if isinstance(chosen, slice) else tuple(entries[i] for i in chosen)
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
