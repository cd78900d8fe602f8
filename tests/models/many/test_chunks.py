"""Large batches a chunk at a time, and with fewer modes: the same answers."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from warmbranch.base.errors import NotConvergedError
from warmbranch.case.case import Case
from warmbranch.many import chunks
from warmbranch.many.chunks import solve_in_chunks
from warmbranch.steady.answer import Answer
from warmbranch.steady.solve import solve

ROUNDING = 1e-12
"""Relative. Designs do not act on each other; their sums may be taken in another order."""


def joined(case: Case, **how: int) -> Answer:
    return Answer.concatenate(list(solve_in_chunks(case, **how)))


@pytest.mark.parametrize("threads", [1, 2, 3])
@pytest.mark.parametrize("chunk", [7, 64, 100])
def test_chunks_answer_as_one_batch_does(
    box_sample: Callable[..., Case], chunk: int, threads: int
) -> None:
    case = box_sample(64)
    whole, parts = solve(case), joined(case, chunk=chunk, threads=threads)
    assert_allclose(parts.resonance, whole.resonance, rtol=ROUNDING)
    assert_allclose(parts.quality_factor, whole.quality_factor, rtol=1e3 * ROUNDING)  # a difference
    assert_allclose(parts.profile.gas, whole.profile.gas, rtol=ROUNDING)
    assert_array_equal(parts.length, case.branch.length)


@pytest.mark.parametrize("modes", [1, 2])
def test_fewer_modes_are_the_first_of_more(box_sample: Callable[..., Case], modes: int) -> None:
    case = box_sample(1000)
    fewer, all_three = solve(case, modes=modes), solve(case)
    assert np.isnan(all_three.resonance[:, 2]).any()  # some lose a mode to damping
    # Each mode's search ends within 1e-8 wherever the others' do.
    assert_allclose(fewer.resonance, all_three.resonance[:, :modes], rtol=1e-8)
    assert_allclose(fewer.quality_factor, all_three.quality_factor, rtol=1e-6)


def test_a_failure_names_the_design_in_the_whole_batch(
    box_sample: Callable[..., Case], monkeypatch: pytest.MonkeyPatch
) -> None:
    case = box_sample(10)

    def failing(part: Case, **_: int) -> Answer:
        if case.branch.length[7] in part.branch.length:
            raise NotConvergedError("Not so.", designs=(1,), residual=1.0, iterations=3)
        return solve(part)

    monkeypatch.setattr(chunks, "solve", failing)
    with pytest.raises(NotConvergedError, match=r"Not so\..*7") as caught:
        joined(case, chunk=3)
    assert caught.value.designs == (7,)
