"""Insertion loss against position: closed forms, nodes, better places."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.length.length_for_tone import length_for
from warmbranch.sound.acoustics import input_impedance, transmission_loss
from warmbranch.sound.placement import (
    BEST_PLACES,
    NEAR_NODE,
    Sweep,
    better_places,
    insertion_loss,
    nodes,
    positions,
    sweep,
    tones,
)
from warmbranch.sound.tail import FarEnd, MainRun

TONE = 100.0


@pytest.fixture(scope="module")
def answer(a_case):
    return length_for(a_case(), np.array([TONE])).answer


@pytest.fixture(scope="module")
def main_run(answer) -> MainRun:
    case = answer.case
    return MainRun(
        length=3.5,
        bore=float(case.main_pipe.bore[0]),
        gas=case.gas,
        pressure=101325.0,
        main_temperature=583.15,
        end_temperature=583.15,
        tail=3.5,
        air_temperature=291.15,
    )


@pytest.fixture(scope="module")
def moved(answer, main_run) -> Sweep:
    band = tones(TONE)
    branch = input_impedance(answer.duct, band[None])[0]
    return sweep(main_run, branch, band, positions(main_run, TONE, np.array([0.4, 1.5])))


class TestInsertionLoss:
    def test_without_reflections_it_is_the_transmission_loss(self):
        branch, main = np.array([3e3 + 2e4j, 5e2 - 1e3j]), np.array([2e5])
        assert_allclose(
            insertion_loss(branch, main + 0j, main + 0j),
            transmission_loss(branch, main),
            rtol=1e-12,
        )

    def test_a_pressure_node_to_either_side_leaves_nothing(self):
        main, node = np.array([2e5 + 0j]), np.array([1e-9 + 0j])
        branch = np.array([5e3 + 0j])
        assert_allclose(insertion_loss(branch, main, node), 0.0, atol=1e-9)
        assert_allclose(insertion_loss(branch, node, main), 0.0, atol=1e-9)

    def test_it_may_make_the_tone_louder(self):
        """A branch whose reactance tunes the pipe."""
        assert (
            insertion_loss(np.array([-1e5j]), np.array([2e6 + 0j]), np.array([2e3 + 1e5j]))[0] < 0
        )

    def test_a_closed_end_is_an_open_circuit(self):
        main, branch = np.array([2e5 + 0j]), np.array([5e3 + 1e3j])
        closed = insertion_loss(branch, np.array([np.inf + 0j]), main)
        assert_allclose(closed, insertion_loss(branch, np.array([1e18 + 0j]), main), rtol=1e-9)
        assert_allclose(closed, 20 * np.log10(np.abs(1 + main / branch)), rtol=1e-12)


def test_the_sweep_is_the_formula(answer, main_run, moved):
    from warmbranch.sound.tail import view

    band = tones(TONE)
    branch = input_impedance(answer.duct, band[None])[0]
    place = np.array([0.4, 1.5])
    seen = view(main_run, place, band)
    loss = insertion_loss(branch, seen.towards_source, seen.towards_tail)
    for i, x in enumerate(place):
        assert_allclose(moved.at(float(x)).tone, loss[i, len(band) // 2], rtol=1e-6)
        mean = -10 * np.log10(np.mean(10 ** (-loss[i] / 10)))
        assert_allclose(moved.at(float(x)).band, mean, rtol=1e-6)


def test_nodes_are_half_waves_apart_and_useless(main_run, moved):
    found = nodes(moved)
    _, speed = main_run.state(np.zeros(1))
    # Wall layers slow the wave by about 1 %.
    assert_allclose(found[0], speed[0] / (2 * TONE) - 0.6133 * main_run.bore / 2, rtol=0.015)
    here = moved.at(float(found[0]))
    assert here.near_node
    assert here.pressure < 0.05
    best = better_places(moved, 0.0, main_run.length)[0]
    assert here.band < best.place.band - 10
    assert not best.place.near_node


def test_what_counts_as_near_a_node():
    """Within a twenty-fourth of a wavelength: sin 15°."""
    assert_allclose(NEAR_NODE, 0.258819, atol=5e-7)


def test_the_open_end_is_a_bad_place(moved):
    assert moved.at(0.0).near_node


class TestBetterPlaces:
    def wavy(self) -> Sweep:
        x = np.linspace(0.0, 4.0, 401)
        band = 10 + 5 * np.sin(2 * np.pi * x) - x
        return Sweep(x, band, band, np.ones_like(x))

    def test_best_first_and_all_peaks(self):
        found = better_places(self.wavy(), 0.0, 4.0)
        assert len(found) == BEST_PLACES
        losses = [better.place.band for better in found]
        assert losses == sorted(losses, reverse=True)
        # Peaks of 5 sin 2πx − x: cos 2πx = 1/(10π), a little before each quarter.
        first = np.arccos(1 / (10 * np.pi)) / (2 * np.pi)
        for number, better in enumerate(found):
            assert_allclose(better.place.position, first + number, atol=0.005)

    def test_only_where_it_is_free(self):
        found = better_places(self.wavy(), 1.5, 2.1)
        assert all(1.5 <= better.place.position <= 2.1 for better in found)
        # The ends of the stretch count: it falls to 1.75 and rises again to 2.1.
        assert_allclose([better.place.position for better in found], [2.1, 1.5], atol=1e-9)

    def test_how_far_one_may_stray(self):
        sweep_ = self.wavy()
        for better in better_places(sweep_, 0.0, 4.0):
            for end in (better.low, better.high):
                assert sweep_.at(end).band >= better.place.band - 1.0
            assert sweep_.at(better.high + 0.01).band < better.place.band - 1.0


def test_with_the_pipe_ahead(answer, main_run):
    """A closed far end shifts what the branch sees: other losses, all finite at the tone."""
    from dataclasses import replace

    band = tones(TONE)
    branch = input_impedance(answer.duct, band[None])[0]
    pipe = replace(main_run, far_end=FarEnd.CLOSED)
    place = positions(pipe, TONE, np.array([]))
    closed = sweep(pipe, branch, band, place)
    assert np.all(np.isfinite(closed.tone))
    open_ = sweep(main_run, branch, band, place)
    assert np.max(np.abs(closed.tone - open_.tone)) > 3
    assert_allclose(closed.pressure, open_.pressure, rtol=1e-12)  # of the tail alone
