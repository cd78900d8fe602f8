"""What cannot be answered is refused, with the remedy."""

from __future__ import annotations

import pytest

CURVE = [{"rpm": r, "level_dB": d} for r, d in ((1500, 66), (2350, 78), (3500, 70))]


def curve(*points):
    return {"loudness": [{"rpm": rpm, "level_dB": level} for rpm, level in points]}


# what is set where, code, field of the entry, words of the remedy
WRONG = [
    ("target", {"quiet_rpm": 200}, "target_out_of_reach", "target.quiet_rpm", "within that"),
    ("target", {"frequency_Hz": 1900}, "target_out_of_reach", "target.frequency_Hz", "within that"),
    ("target", {}, "no_target", "target", "quiet_rpm"),
    ("target", {"rpm": 2350}, "no_target", "target", "quiet_rpm"),
    (
        "target",
        curve((1500, 66), (2350, 78)),
        "too_few_loudness_points",
        "target.loudness",
        "at least 3",
    ),
    (
        "target",
        curve((1500, 66), (3500, 70), (2350, 78)),
        "unsorted_loudness",
        "target.loudness[2].rpm",
        "rising order",
    ),
    (
        "target",
        curve((1500, 66), (2350, 78), (2350, 79)),
        "repeated_rpm",
        "target.loudness[2].rpm",
        "once",
    ),
    (
        "target",
        {"loudness": CURVE, "band_to_rpm": 4000},
        "band_beyond_curve",
        "target.band_to_rpm",
        "1500 to 3500",
    ),
    (
        "target",
        {"loudness": CURVE, "band_from_rpm": 3000, "band_to_rpm": 2000},
        "band_falls",
        "target.band_to_rpm",
        "above 3000",
    ),
    (
        "target",
        {"road_speed_m_s": 30, "gear_ratio": 0.8, "final_drive_ratio": 4},
        "no_wheel",
        "target.rolling_circumference_mm",
        "tyre",
    ),
    (
        "target",
        {"road_speed_m_s": 30, "gear_ratio": 0.8, "final_drive_ratio": 4, "tyre": "big ones"},
        "no_tyre_size",
        "target.tyre",
        "205/55 R16",
    ),
    (
        "target",
        {
            "road_speed_m_s": 1,
            "gear_ratio": 0.1,
            "final_drive_ratio": 0.1,
            "rolling_circumference_mm": 6000,
        },
        "no_engine_speed",
        "target.gear_ratio",
        "ratios",
    ),
    ("space_mm", [900, 40, 120], "space_smaller_than_tube", "space_mm[1]", "larger space"),
    ("space_mm", [900, 300], "too_short", "space_mm", "at least 3"),
    (
        "place",
        {"pipe_length_mm": 2000, "position_mm": 2500},
        "position_off_the_pipe",
        "place.position_mm",
        "at most 2000",
    ),
    (
        "place",
        {"pipe_length_mm": 2000, "free_to_mm": 2500},
        "position_off_the_pipe",
        "place.free_to_mm",
        "at most 2000",
    ),
    (
        "place",
        {"pipe_length_mm": 2000, "free_from_mm": 900, "free_to_mm": 800},
        "stretch_falls",
        "place.free_to_mm",
        "above 900",
    ),
    (
        "two_branches",
        {"branches": 3},
        "more_than_two_branches",
        "two_branches.branches",
        "Give 2",
    ),
    ("two_branches", {"branches": 1}, "not_two_branches", "two_branches.branches", "leave"),
    (
        "two_branches",
        {"band_from_rpm": 2000},
        "half_a_band",
        "two_branches.band_to_rpm",
        "neither",
    ),
    (
        "two_branches",
        {"band_from_Hz": 90, "band_to_Hz": 80},
        "band_falls",
        "two_branches.band_to_Hz",
        "above 90",
    ),
    (
        "two_branches",
        {"band_from_Hz": 70, "band_to_Hz": 80, "band_from_rpm": 2000, "band_to_rpm": 2500},
        "two_bands",
        "two_branches.band_from_Hz",
        "not both",
    ),
    ("cutting", {"bend_radius_mm": 20}, "bend_too_tight", "cutting.bend_radius_mm", "above 24.15"),
    ("cutting", {"bar_mm": 500}, "bar_too_short", "cutting.bar_mm", "at least"),
    (
        "operating_points",
        [{"name": "idle", "weight": 0}],
        "no_weight",
        "operating_points[0].weight",
        "at least one",
    ),
    ("operating_points", [{"weight": 1}], "missing", "operating_points[0].name", "name"),
    ("aim", "softest", "literal_error", "aim", "loudest"),
    ("targett", {}, "unknown_field", "targett", "Did you mean target"),
]


@pytest.mark.parametrize(("part", "value", "code", "field", "words"), WRONG)
def test_refused_with_the_remedy(ask, length_refused, part, value, code, field, words):
    entry = length_refused({**ask, part: value})
    assert entry["code"] == code
    assert entry["field"] == field
    assert words in entry["remedy"]


def test_a_target_out_of_reach_says_what_is_in_reach(ask, length_refused, length):
    entry = length_refused({**ask, "target": {"quiet_rpm": 200}})
    assert entry["value"] == 200
    assert entry["unit"] == "rpm"
    low, high = (
        float(word) for word in entry["detail"].rpartition("(")[2].split(" rpm")[0].split(" to ")
    )
    # What it says is within reach is: a little inside, for rounding.
    for rpm in (low * 1.001, high * 0.999):
        length({**ask, "target": {"quiet_rpm": rpm}, "diameters": False})


def test_out_of_reach_points_at_what_was_sent(ask, length_refused):
    own = [{"name": "idle", "quiet_rpm": 60}]
    entry = length_refused({**ask, "operating_points": own})
    assert entry["field"] == "operating_points[0].quiet_rpm"
    assert entry["value"] == 60


@pytest.mark.parametrize("target", [{"frequency_Hz": 2000}, {"frequency_Hz": 300}])
@pytest.mark.parametrize("wall", [4.9, 5])
def test_a_narrow_bore_is_answered_or_refused_at_the_target(
    smallest, length, length_refused, client, target, wall
):
    """Some admissible tubes are so narrow that losses leave no resonance at any length."""
    tube = {"outside_diameter_mm": 15, "wall_thickness_mm": wall, "length_mm": 3 * (15 - 2 * wall)}
    smallest["case"]["branch"] = tube
    body = {**smallest, "target": target, "diameters": False}
    if client.post("/v1/length", json=body).status_code == 422:
        assert length_refused(body)["field"] == "target.frequency_Hz"
    else:
        length(body)


@pytest.mark.parametrize(
    ("band", "field", "unit"),
    [
        ({"band_from_Hz": 1990, "band_to_Hz": 2000}, "two_branches.band_to_Hz", "Hz"),
        ({"band_from_Hz": 5, "band_to_Hz": 6}, "two_branches.band_from_Hz", "Hz"),
        ({"band_from_rpm": 160, "band_to_rpm": 170}, "two_branches.band_from_rpm", "rpm"),
    ],
)
def test_a_band_that_no_branch_comes_near(ask, length_refused, band, field, unit):
    entry = length_refused({**ask, "two_branches": band})
    assert entry["code"] == "band_out_of_reach"
    assert entry["field"] == field
    assert entry["unit"] == unit
    assert entry["value"] == pytest.approx(band[field.partition(".")[2]])
    assert "within that" in entry["remedy"]


def test_rpm_without_an_engine(smallest, length_refused):
    for target in ({"quiet_rpm": 2350}, {"loudness": CURVE}):
        entry = length_refused({"case": smallest["case"], "target": target})
        assert entry["code"] == "no_engine"
    with_point = {
        "case": smallest["case"],
        "target": {"frequency_Hz": 80},
        "operating_points": [{"name": "one", "quiet_rpm": 2000}],
    }
    assert length_refused(with_point)["field"] == "operating_points[0].quiet_rpm"


def test_excess_air_of_a_mixture(ask, length_refused, put):
    put(ask, "case.main_pipe.gas", {"mole_fractions": {"N2": 0.8, "CO2": 0.2}})
    ask["operating_points"] = [{"name": "rich", "excess_air_ratio": 0.9}]
    entry = length_refused(ask)
    assert entry["code"] == "no_burnt_gas"
    assert entry["field"] == "operating_points[0].excess_air_ratio"


def test_a_curve_and_a_points_own_speed(ask, length_refused):
    ask["target"] = {"loudness": CURVE}
    ask["operating_points"] = [{"name": "one", "quiet_rpm": 2000}]
    assert length_refused(ask)["code"] == "two_targets"


def test_a_broken_case_is_refused_as_elsewhere(ask, length_refused, put):
    put(ask, "case.branch.outside_diameter_mm", 5)
    assert length_refused(ask)["field"] == "case.branch.outside_diameter_mm"
