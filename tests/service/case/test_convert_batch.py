"""Many cases converted at once are each what it is alone."""

from __future__ import annotations

import dataclasses
import json
import math

import numpy as np
import pytest

from warmbranch.case import case as physics
from warmbranch_service.case.convert_batch import to_batch
from warmbranch_service.case.schema import Case
from warmbranch_service.demo import demo_text

VAN, GENERATOR = (json.loads(demo_text(name))["case"] for name in ("van", "generator"))


def changed(case, **parts):
    return {**case, **{name: {**case.get(name, {}), **part} for name, part in parts.items()}}


CASES = [
    VAN,
    GENERATOR,
    changed(VAN, surroundings={"air_temperature_degC": 40, "relative_humidity_percent": 90}),
    changed(VAN, main_pipe={"gas": {"mole_fractions": {"N2": 0.8, "CO2": 0.2}}}),
    changed(VAN, main_pipe={"skin_temperature_degC": 200, "mass_flow_kg_h": None}),
    changed(VAN, branch={"material": {"conductivity_W_mK": 9, "density_kg_m3": 4500,
                                      "heat_capacity_J_kgK": 520}}),
    changed(GENERATOR, engine={"cycle": "two-stroke"}),
    changed(GENERATOR, main_pipe={"gas": {"fuel": "dry air"}}),
    changed(VAN, closures={"mixing": {"model": "fixed", "diffusivity_m2_s": 0.02},
                           "inner_film": {"model": "fixed", "coefficient_W_m2K": 12},
                           "outer_film": {"model": "fixed", "coefficient_W_m2K": 9},
                           "mouth_correction": {"model": "fixed", "length_mm": 11},
                           "wall_losses": False}),
    changed(VAN, closures={"mixing": {"model": "stirred mouth", "incident_pressure_Pa": 500}}),
]  # fmt: skip


def leaves(value, name="case"):
    if dataclasses.is_dataclass(value):
        for item in dataclasses.fields(value):
            yield from leaves(getattr(value, item.name), f"{name}.{item.name}")
    else:
        yield name, value


@pytest.mark.parametrize("order", [1, -1])
def test_a_batch_is_its_cases_one_by_one(order):
    cases = [Case.model_validate(case) for case in CASES[::order]]
    together = to_batch(cases)
    alone = physics.Case.concatenate([to_batch([case]) for case in cases])
    names = set()
    for (name, found), (_, expected) in zip(leaves(together), leaves(alone), strict=True):
        names.add(name)
        if isinstance(found, tuple):
            assert found == expected, name
        else:
            # The last bit: numpy's own loops differ for one number and for many.
            np.testing.assert_allclose(found, expected, rtol=1e-15, atol=0, err_msg=name)
    assert len(names) > 30


def test_equal_centrelines_are_one_object():
    longer = changed(GENERATOR, branch={"length_mm": 1500})
    batch = to_batch([Case.model_validate(case) for case in (GENERATOR, longer, GENERATOR)])
    first, second, third = batch.branch.pieces
    assert first is third
    assert math.isclose(second[0].length, 1.5)
