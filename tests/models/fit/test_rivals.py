"""Usual slips are found out, and honest readings are left in peace."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from warmbranch.belief.calibration import Calibration
from warmbranch.fit.ensemble import PriorDraws
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.readings import Heard, usual_uncertainty
from warmbranch.fit.rivals import SLIPS, weigh
from warmbranch.fit.solve import fit

SEEDS = range(4)


def drawn(synthetic, seed, kinds=("paint", "contact", "paint", "contact", "paint", "contact")):
    """A branch read at six places all along, and heard."""
    rng = np.random.default_rng([77, seed])
    own = synthetic.experiment(rng, len(kinds), listens=True)
    length = float(own.case.branch.length[0])
    readings = synthetic.to_be_read(own.case, np.linspace(0.08, 0.95, len(kinds)) * length, kinds)
    prior = Calibration.prior(own.case)
    bare = synthetic.shift_of_own(prior, own.coordinates)
    return own.case, synthetic.read(readings, own.truth, bare, own.patch, rng), own.heard


def found(case, readings, heard=None):
    problem = InverseProblem(case, readings, heard or Heard.none(), Calibration.prior(case))
    prior = PriorDraws(problem)
    return weigh(problem, problem.mode(prior.starts(problem)), prior)


def shown(readings, displayed):
    return replace(readings, displayed=displayed, uncertainty=usual_uncertainty(displayed))


def in_fahrenheit(case, read):
    return shown(read, (read.displayed - 273.15) * 1.8 + 32 + 273.15)


def in_celsius(case, read):
    """A thermometer that shows °C, whose numbers were written as °F."""
    taken = (read.displayed - 273.15 - 32) / 1.8 + 273.15
    return replace(shown(read, taken), in_fahrenheit=np.ones(len(read), dtype=bool))


def in_inches(case, read):
    return replace(read, position=read.position / 25.4)


def from_the_cap(case, read):
    return replace(read, position=float(case.branch.length[0]) - read.position)


def reversed_list(case, read):
    return shown(read, read.displayed[np.argsort(-read.position)])


MADE = {
    "fahrenheit": in_fahrenheit,
    "celsius": in_celsius,
    "inches": in_inches,
    "from_cap": from_the_cap,
    "wrong_end": reversed_list,
}


def told(rivals_of, slip, *, times, among=None):
    """Fails unless ``slip`` is told in so many of four experiments; asks no more than it takes."""
    names = []
    for seed in SEEDS:
        names.append([rival.name for rival in rivals_of(seed)[:among]])
        if sum(slip in one for one in names) >= times:
            return
    raise AssertionError(names)


@pytest.mark.parametrize("slip", MADE)
def test_a_slip_is_told_first(synthetic, slip):
    def rivals_of(seed):
        case, readings, heard = drawn(synthetic, seed)
        return found(case, MADE[slip](case, readings), heard)

    # A list in reverse is a list from the cap where places lie evenly: either may come first. A
    # branch that is nearly as cold all along hides what end is which.
    told(rivals_of, slip, times=3, among=2)


def test_nobody_is_asked_for_the_unit_that_was_written(synthetic):
    case, readings, _ = drawn(synthetic, 0)
    written = replace(readings, in_fahrenheit=np.ones(len(readings), dtype=bool))
    assert SLIPS["fahrenheit"](case, written) is None
    assert SLIPS["celsius"](case, readings) is None
    mixed = replace(readings, in_fahrenheit=np.arange(len(readings)) < 2)
    meant = SLIPS["celsius"](case, mixed)
    assert meant is not None
    np.testing.assert_array_equal(meant.displayed[2:], readings.displayed[2:])


def test_swapped_columns_are_told(synthetic):
    """Where the two look alike, as with a warm branch of half a metre."""
    case, readings, _ = drawn(synthetic, 2)
    mm, celsius = readings.position * 1e3, readings.displayed - 273.15
    swapped = shown(replace(readings, position=celsius / 1e3), mm + 273.15)
    back = SLIPS["swapped_columns"](case, swapped)
    assert back is not None
    np.testing.assert_allclose(back.position, readings.position)
    np.testing.assert_allclose(back.displayed, readings.displayed)
    assert "swapped_columns" in [rival.name for rival in found(case, swapped)]


@pytest.mark.slow
def test_bare_metal_called_paint_is_told(synthetic):
    """Six spots of bright metal that are noted as painted, beside an honest tone."""

    def rivals_of(seed):
        rng = np.random.default_rng([78, seed])
        own = synthetic.experiment(rng, 3, listens=True)
        length = float(own.case.branch.length[0])
        place = np.linspace(0.08, 0.9, 6) * length
        empty = synthetic.to_be_read(own.case, place, ("paint",) * 6)
        bright = replace(empty, emissivity=np.full(6, 0.2))
        read = synthetic.read(bright, own.truth, 0.0, 0.0, rng)
        painted = replace(read, emissivity=empty.emissivity)
        return found(own.case, painted, own.heard)

    told(rivals_of, "bare_metal", times=2)


@pytest.mark.slow
def test_wind_on_one_half_is_told(synthetic):
    def rivals_of(seed):
        case, readings, heard = drawn(synthetic, seed)
        s = readings.position / case.branch.length[0]
        excess = readings.displayed - case.surroundings.air_temperature[0]
        blown = shown(readings, readings.displayed + excess * np.where(s < 0.5, -0.4, 0.4))
        return found(case, blown, heard)

    told(rivals_of, "wind_in_front", times=1)


def test_a_cold_branch_is_told(synthetic):
    """Read and heard two minutes after the start, and nobody said so."""

    def rivals_of(seed):
        case, readings, heard = drawn(synthetic, seed)
        lags = InverseProblem(case, readings, heard, Calibration.prior(case)).clock.lags
        assert lags is not None
        early = np.array([120.0])
        air = case.surroundings.air_temperature[0]
        cold = shown(readings, air + (readings.displayed - air) * lags.of_skin(early)[0])
        low = replace(heard, frequency=heard.frequency * lags.of_tone(early))
        return fit(case, cold, low).rivals

    told(rivals_of, "not_warm", times=2)


@pytest.mark.slow
def test_honest_readings_are_left_in_peace(synthetic):
    """One of forty at most; the benchmark of hundreds is what shows two per cent."""
    alarms = 0
    for seed in range(40):
        case, readings, heard = drawn(synthetic, 100 + seed)
        alarms += bool(found(case, readings, heard))
    assert alarms <= 1


def test_nothing_read_is_no_slip(make_case):
    assert found(make_case(), drawn_none()) == ()


def drawn_none():
    from warmbranch.fit.readings import Readings

    return Readings.none()
