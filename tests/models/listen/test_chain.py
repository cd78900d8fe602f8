"""The hidden chain against sums over all its paths."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.testing import assert_allclose

from warmbranch.listen import chain


def all_paths(score, moves):
    """Every path of a short chain with its likelihood: (likelihood, states, heard)."""
    frames, states = score.shape
    found = []
    reach = len(moves.heard) // 2
    for places in itertools.product(range(states), repeat=frames):
        for heard in itertools.product((True, False), repeat=frames):
            likely = 0.5 / states
            for frame in range(frames):
                if frame:
                    move = places[frame] - places[frame - 1]
                    if abs(move) > reach:
                        likely = 0
                        break
                    step = moves.heard if heard[frame - 1] else moves.unheard
                    change = chain.FALL_SILENT if heard[frame - 1] else chain.SOUND_AGAIN
                    likely *= step[reach + move]
                    likely *= change if heard[frame] != heard[frame - 1] else 1 - change
                if heard[frame]:
                    likely *= np.exp(score[frame, places[frame]])
            if likely:
                found.append((likely, places, heard))
    return found


def test_against_enumeration():
    rng = np.random.default_rng(1)
    score = rng.normal(0, 2, (4, 3))
    moves = chain.Moves(chain.steps(0.5, 1), chain.steps(2.0, 1))
    paths = all_paths(score, moves)
    found = chain.solve(score, moves)
    total = sum(likely for likely, _, _ in paths)
    _, places, heard = max(paths, key=lambda path: path[0])
    assert found.path.tolist() == list(places)
    assert found.heard_path.tolist() == list(heard)
    # Chances are kept in single precision.
    assert_allclose(found.evidence, np.log(total), rtol=1e-6)
    for frame in range(4):
        share = sum(likely for likely, _, on in paths if on[frame]) / total
        assert_allclose(found.heard[frame], share, rtol=1e-5)
        for state in range(3):
            share = sum(p for p, at, on in paths if on[frame] and at[frame] == state) / total
            assert_allclose(found.marginal[frame, state], share, rtol=1e-5)
