"""Structures of arrays: parts of a batch are what they were in the whole."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from warmbranch.base.batch import Batched
from warmbranch.case.case import Case

PARTS = [
    np.array([4, 0, 4]),
    np.array([True, False, True, True, False, False]),
    slice(1, 5, 2),
    slice(3, None),
    np.array([], dtype=np.intp),
]


def leaves(batch: Batched) -> list[object]:
    """Every array and tuple of a batch, those of nested batches too."""
    found: list[object] = []
    for item in dataclasses.fields(batch):
        value = getattr(batch, item.name)
        found.extend(leaves(value) if isinstance(value, Batched) else [value])
    return found


@pytest.mark.parametrize("index", PARTS, ids=str)
def test_a_part_holds_the_designs_chosen(
    box_sample: Callable[..., Case], index: NDArray[np.intp] | slice
) -> None:
    whole = box_sample(6)
    chosen = np.arange(6)[index]
    part = whole.take(index)
    assert len(part) == len(chosen)
    for own, all_of_it in zip(leaves(part), leaves(whole), strict=True):
        if isinstance(all_of_it, tuple):
            assert own == tuple(all_of_it[i] for i in chosen)
        else:
            np.testing.assert_array_equal(own, np.asarray(all_of_it)[chosen])


@pytest.mark.parametrize("index", [slice(None), slice(0, 6), slice(0, None, 1)], ids=str)
def test_all_of_a_batch_is_that_batch(box_sample: Callable[..., Case], index: slice) -> None:
    whole = box_sample(6)
    assert whole.take(index) is whole


def test_parts_joined_again_are_the_whole(box_sample: Callable[..., Case]) -> None:
    whole = box_sample(6)
    joined = Case.concatenate([whole.take(slice(0, 2)), whole.take(slice(2, 6))])
    for own, all_of_it in zip(leaves(joined), leaves(whole), strict=True):
        if isinstance(all_of_it, tuple):
            assert own == all_of_it
        else:
            np.testing.assert_array_equal(own, all_of_it)


def test_only_what_holds_the_same_is_alike(make_case):
    case = make_case()
    assert case.is_like(make_case())
    assert case.is_like(case.changed(gas=case.gas))
    warmer = case.surroundings.changed(air_temperature=case.surroundings.air_temperature + 1e-9)
    assert not case.is_like(case.changed(surroundings=warmer))
    # What is nothing is nothing in both: no rear has a speed of its own.
    assert np.isnan(case.surroundings.rear_air_speed).all()
    shorter = case.branch.with_length(0.9 * case.branch.length)
    assert not case.is_like(case.changed(branch=shorter))
