"""What an untold gas may be, against the combustion model and the whole branch with condensing."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from warmbranch.belief.burning import (
    BY_COMPRESSION,
    BY_SPARK,
    FUELS_BURNT,
    HUMID,
    sound_of,
)
from warmbranch.belief.unknown import COMPOSITION_SPREAD
from warmbranch.gas.combustion import FUELS, LEANEST, RICHEST, burnt_gas
from warmbranch.gas.gas import Composition, MixtureTable
from warmbranch.steady.solve import solve


def all_that_may_burn() -> tuple[Composition, np.ndarray]:
    """Each gas that the belief holds possible, and how likely it is."""
    gases, shares = [], []
    for (fuel, likely), (humidity, by_water) in product(FUELS_BURNT.items(), HUMID.items()):
        for ratio, by_air in (BY_COMPRESSION if fuel == "diesel" else BY_SPARK).items():
            gases.append(burnt_gas(fuel, ratio, humidity))
            shares.append(likely * by_water * by_air)
    return Composition.concatenate(gases), np.array(shares)


@pytest.mark.parametrize("likely", [FUELS_BURNT, BY_SPARK, BY_COMPRESSION, HUMID])
def test_what_may_be_is_all_that_may_be(likely):
    assert sum(likely.values()) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("length", [0.55, 0.95, 1.45])
def test_the_whole_branch_moves_as_the_sound_speed_foretells(make_case, length):
    """With condensing, which the sound speed leaves out: within 0.3 % where it shifts by 0.8 %."""
    usual = make_case()
    branch = usual.branch.with_length(np.array([length]))
    case = usual.changed(gas=burnt_gas("petrol", 1.0, 0.0075), branch=branch)
    gases, shares = all_that_may_burn()
    tones = solve(case.repeat(len(shares)).changed(gas=gases)).resonance[:, 0]
    over = np.log(tones / solve(case).resonance[0, 0])
    mean = float(shares @ over)
    spread = float(np.sqrt(shares @ (over - mean) ** 2))
    foretold = sound_of("petrol", 1.0, fuel_told=False, air_told=False)
    assert foretold.centre == pytest.approx(mean, abs=0.003)
    assert foretold.spread == pytest.approx(spread, abs=0.003)


@pytest.mark.parametrize("fuel", FUELS_BURNT)
def test_whatever_burns_sounds_higher_than_petrol_with_just_its_air(fuel):
    for ratio in BY_COMPRESSION if fuel == "diesel" else BY_SPARK:
        gas = burnt_gas(fuel, ratio, 0.0075)
        told = burnt_gas("petrol", 1.0, 0.0075)
        assert sound_speed(gas) >= sound_speed(told) * (1 - 1e-12)


def sound_speed(gas: Composition) -> float:
    return float(MixtureTable.of(gas).sound_speed(np.array([[400.0]]))[0, 0])


def test_what_is_told_narrows():
    nothing = sound_of("petrol", 1.0, fuel_told=False, air_told=False)
    fuel = sound_of("petrol", 1.0, air_told=False)
    both = sound_of("petrol", 1.0)
    assert nothing.spread > fuel.spread > both.spread >= COMPOSITION_SPREAD
    assert nothing.centre > fuel.centre > both.centre > 0


@pytest.mark.parametrize("fuel", FUELS)
@pytest.mark.parametrize("ratio", [RICHEST, 1.0, LEANEST])
def test_every_gas_that_can_be_made_has_a_belief(fuel, ratio):
    for told in (True, False):
        found = sound_of(fuel, ratio, air_told=told)
        assert np.isfinite(found.centre)
        assert COMPOSITION_SPREAD <= found.spread < 0.03
