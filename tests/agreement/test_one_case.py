"""What the physics takes for granted is what the service does."""

from __future__ import annotations

import math

import numpy as np

from shared.requests import BRANCH, PIPE
from warmbranch import one_case, solve
from warmbranch_service.case.convert import to_physics
from warmbranch_service.case.schema import Case as JsonCase

GIVEN = {
    "outside_diameter": 0.0483,
    "wall_thickness": 0.0015,
    "length": 1.2,
    "main_outside_diameter": 0.0603,
    "main_wall_thickness": 0.0015,
    "gas_temperature": 583.15,
    "mass_flow": 95 / 3600,
}


def test_defaults_are_those_of_the_service():
    """The same case by way of the JSON, in its units: every array alike."""
    json_case = JsonCase.model_validate({"branch": BRANCH, "main_pipe": PIPE})
    by_service, here = to_physics(json_case).case, one_case(**GIVEN)
    for part in ("branch", "metal", "covering", "main_pipe", "gas", "surroundings", "closures"):
        theirs, ours = getattr(by_service, part), getattr(here, part)
        for name, value in vars(theirs).items():
            if isinstance(value, np.ndarray):
                # 1e-12: mm and kg/h are converted there.
                np.testing.assert_allclose(getattr(ours, name), value, rtol=1e-12, err_msg=name)
    assert math.isclose(
        solve(here).resonance[0, 0], solve(by_service).resonance[0, 0], rel_tol=1e-10
    )
