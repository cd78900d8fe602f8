from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from warmbranch.belief.calibration import Calibration
from warmbranch.fit.ensemble import PriorDraws
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.readings import OWN, Heard, Readings
from warmbranch.fit.suspicion import suspicious_readings, suspicious_tone
from warmbranch.steady.solve import solve


def reading(**changes) -> Readings:
    """Black paint at 0.4 m that shows 350 K; changes may be lists, one entry a reading."""
    size = max((len(v) for v in changes.values() if isinstance(v, list)), default=1)
    plain = {
        "position": 0.4,
        "displayed": 350.0,
        "uncertainty": 2.0,
        "infrared": True,
        "surface": "matt black paint",
        "emissivity": 0.95,
        "emissivity_spread": 0.4,
        "emissivity_set": 0.95,
        "reflected": np.nan,
        "reflected_set": 298.15,
        "share": 1.0,
        "time": np.nan,
    } | changes
    columns = {
        name: value if isinstance(value, list) else [value] * size for name, value in plain.items()
    }
    surface = tuple(columns.pop("surface"))
    return Readings(surface=surface, **{name: np.array(v) for name, v in columns.items()})


def codes(case, readings, expected=350.0) -> list[set[str]]:
    found = suspicious_readings(case, readings, np.full(len(readings), expected))
    return [{suspicion.code for suspicion in own} for own in found]


def test_an_honest_reading_is_not_suspect(make_case):
    assert codes(make_case(), reading()) == [set()]


@pytest.mark.parametrize(
    ("changes", "expected", "code"),
    [
        ({"displayed": 440.0}, 440.0, "hotter_than_gas"),
        ({"displayed": 285.0}, 285.0, "below_air"),
        ({"surface": OWN, "emissivity": 0.3}, 350.0, "bare_shiny_metal"),
        ({"share": 0.7}, 350.0, "spot_misses"),
        ({"surface": "vinyl tape", "displayed": 380.0}, 380.0, "patch_too_hot"),
        ({"displayed": 360.0}, 350.0, "does_not_fit"),
    ],
)
def test_each_suspicion(make_case, changes, expected, code):
    assert codes(make_case(), reading(**changes), expected) == [{code}]


def test_the_skin_behind_a_shiny_display_is_told(make_case):
    """Emissivity 0.2 set to 0.95 shows 40 °C of a skin at 92 °C, all around at 22 °C."""
    case = make_case(air_temperature=295.15)
    shiny = reading(
        surface=OWN, emissivity=0.2, displayed=313.15, reflected_set=295.15, reflected=295.15
    )
    (found,) = suspicious_readings(case, shiny, np.array([313.15]))
    assert found[0].numbers["skin"] - 273.15 == pytest.approx(92, abs=0.5)  # the digits quoted


def test_two_readings_of_one_spot_that_contradict(make_case):
    both = reading(displayed=[330.0, 380.0])
    assert codes(make_case(), both, 355.0) == [{"contradicts", "does_not_fit"}] * 2
    (first, _) = suspicious_readings(make_case(), both, np.full(2, 355.0))
    told = {s.code: s.numbers for s in first}["contradicts"]
    assert told == {"other": 1.0, "difference": -50.0}


def test_different_spots_may_differ(make_case):
    apart = reading(displayed=[330.0, 330.0], position=[0.4, 0.5])
    expected = np.array([330.0, 330.0])
    assert suspicious_readings(make_case(), apart, expected) == ((), ())


def test_surfaces_of_one_spot_may_show_different_things(make_case):
    """Residuals are compared, not displays: bare metal beside paint shows less."""
    both = reading(
        displayed=[350.0, 315.0], surface=["matt black paint", OWN], emissivity=[0.95, 0.55]
    )
    found = suspicious_readings(make_case(), both, np.array([351.0, 314.0]))
    assert found == ((), ())


@pytest.fixture
def before(make_case):
    case = make_case()
    heard = Heard.of_warm(np.array([90.0]), np.ones(1), np.array([1.031]))
    problem = InverseProblem(case, Readings.none(), heard, Calibration.prior(case))
    return case, PriorDraws(problem).ensemble(problem)


def suspect(before, frequency, order=3.0, step=0.5):
    case, ensemble = before
    return suspicious_tone(case, frequency, 1.031, ensemble.heard[:, 0], ensemble, order, step)


def test_a_likely_tone_is_not_suspect(before):
    assert suspect(before, 90.0) is None
    assert suspect(before, 84.0) is None


def test_three_times_the_prediction_is_an_overtone_or_a_wrong_order(before):
    _, believed = before
    middle = float(np.exp(believed.weights @ np.log(believed.frequency)))
    found = suspect(before, 3 * middle)
    assert found.code == "overtone_or_wrong_order"
    assert found.numbers["resonance"] == 2
    assert found.numbers["order"] == 1
    assert found.numbers["ratio"] == pytest.approx(3.0, abs=0.05)  # of the prior's own middle


def test_the_third_resonance_is_told_from_the_second(before):
    case, _ = before
    third = float(solve(case).resonance[0, 2])
    assert suspect(before, third).numbers["resonance"] == 3


def test_a_wrong_order_alone(before):
    """Order 3 taken for a tone of order 1.5: twice the frequency, which is no resonance."""
    found = suspect(before, 2 * 89.0)
    assert "resonance" not in found.numbers
    assert found.numbers["order"] == 1.5


def test_orders_of_a_two_stroke_are_whole(before):
    assert "order" not in suspect(before, 2 * 89.0, order=3.0, step=1.0).numbers


def test_without_an_engine_there_is_no_order(before):
    assert "order" not in suspect(before, 2 * 89.0, order=None).numbers


def test_a_tone_that_nothing_explains(before):
    found = suspect(before, 89.0 * 2.45)
    assert set(found.numbers) == {"predicted", "ratio"}


def test_nothing_is_said_where_nothing_resonates(before):
    case, ensemble = before
    silent = replace(ensemble, heard=np.full_like(ensemble.heard, np.nan))
    assert suspicious_tone(case, 90.0, 1.031, silent.heard[:, 0], silent, 3.0, 0.5) is None
