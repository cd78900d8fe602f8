"""How the resonance and the temperatures answer to each physical input of a case.

Every number of a case that the steady model looks at is an input by the name of its place,
``main_pipe.gas_temperature``. Derivatives come from the solved Jacobian: see linear_response.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.case import Case
from warmbranch.steady.answer import Answer
from warmbranch.steady.linear_response import Response, Solution, respond

RELATIVE_STEP = 1e-4
"""Of an input over its value: its fourth power is rounding."""

KELVIN_STEP = 0.01
RADIAN_STEP = 1e-4


@dataclass(frozen=True)
class Input:
    """One number of a case.

    Parameters
    ----------
    name : str
        Its place, with a point between part and field.
    unit : str
        SI; ``"1"`` for a pure number.
    value : callable
        From cases to (designs,) values; NaN where a case does without.
    apply : callable
        From cases and (designs,) values to cases that have them.
    step : float
        That explicit formulas are differenced over: in ``unit``, or relative.
    relative : bool
        Whether it is positive, and 0 an end of its range.
    """

    name: str
    unit: str
    value: Callable[[Case], FloatArray]
    apply: Callable[[Case, FloatArray], Case]
    step: float = RELATIVE_STEP
    relative: bool = True


class Sensitivity(NamedTuple):
    """Derivatives with respect to inputs.

    Parameters
    ----------
    inputs : tuple of Input
    value : (inputs, designs) array
    resonance : (inputs, designs) array, Hz per unit of the input
        Of the first one.
    gas, wall, skin : (inputs, designs, nodes) array, K per unit of the input
        At nodes that move with the cap.

    All are NaN where an input is not there, or at the end of its range, where it has no
    derivative to both sides.
    """

    inputs: tuple[Input, ...]
    value: FloatArray
    resonance: FloatArray
    gas: FloatArray
    wall: FloatArray
    skin: FloatArray


def _field(part: str, field: str, unit: str) -> Input:
    def value(case: Case) -> FloatArray:
        return getattr(getattr(case, part), field)

    def apply(case: Case, values: FloatArray) -> Case:
        return replace(case, **{part: replace(getattr(case, part), **{field: values})})

    absolute = {"K": KELVIN_STEP, "rad": RADIAN_STEP}.get(unit)
    step = RELATIVE_STEP if absolute is None else absolute
    return Input(f"{part}.{field}", unit, value, apply, step, relative=absolute is None)


def _length() -> Input:
    def value(case: Case) -> FloatArray:
        return case.branch.length

    def apply(case: Case, values: FloatArray) -> Case:
        return replace(case, branch=case.branch.with_length(values))

    return Input("branch.length", "m", value, apply)


def _conductivity() -> Input:
    """A factor on the metal's conductivity at all temperatures."""

    def value(case: Case) -> FloatArray:
        return np.ones(len(case))

    def apply(case: Case, values: FloatArray) -> Case:
        scaled = case.metal.conductivity_coefficients * values[:, None]
        return replace(case, metal=replace(case.metal, conductivity_coefficients=scaled))

    return Input("metal.conductivity_factor", "1", value, apply)


INPUTS: dict[str, Input] = {
    one.name: one
    for one in (
        _length(),
        _field("branch", "outside_diameter", "m"),
        _field("branch", "wall_thickness", "m"),
        _field("branch", "rise", "rad"),
        _conductivity(),
        _field("covering", "emissivity", "1"),
        _field("covering", "wrap_thickness", "m"),
        _field("covering", "wrap_conductivity", "W/(m K)"),
        _field("main_pipe", "outside_diameter", "m"),
        _field("main_pipe", "wall_thickness", "m"),
        _field("main_pipe", "gas_temperature", "K"),
        _field("main_pipe", "skin_temperature", "K"),
        _field("main_pipe", "mass_flow", "kg/s"),
        _field("main_pipe", "emissivity", "1"),
        _field("main_pipe", "film_augmentation", "1"),
        _field("main_pipe", "incident_pressure", "Pa"),
        _field("surroundings", "air_temperature", "K"),
        _field("surroundings", "radiant_temperature", "K"),
        _field("surroundings", "pressure", "Pa"),
        _field("surroundings", "air_speed", "m/s"),
        _field("closures", "stirring", "1"),
        _field("closures", "reach", "1"),
        _field("closures", "pulsation", "1"),
        _field("closures", "mouth_exchange", "1"),
        _field("closures", "stirred_film", "1"),
        _field("closures", "still_nusselt", "1"),
        _field("closures", "stanton", "1"),
        _field("closures", "buoyancy", "1"),
        _field("closures", "outer_film_factor", "1"),
        _field("closures", "mouth_factor", "1"),
        _field("closures", "mouth_flow", "1"),
        _field("closures", "fixed_diffusivity", "m²/s"),
        _field("closures", "fixed_inner_film", "W/(m² K)"),
        _field("closures", "fixed_outer_film", "W/(m² K)"),
        _field("closures", "fixed_mouth_length", "m"),
    )
}
"""All inputs by name. What the gas is made of is none of them, but can be a path of
:func:`warmbranch.steady.linear_response.respond`."""


def sensitivity(answer: Answer, names: Sequence[str] | None = None) -> Sensitivity:
    """Derivatives of an answer with respect to inputs of its case.

    Parameters
    ----------
    answer : Answer
    names : sequence of str, optional
        Keys of :data:`INPUTS`; all unless given.

    Returns
    -------
    Sensitivity

    Raises
    ------
    NotConvergedError
        As :func:`warmbranch.steady.linear_response.respond`.

    Valid for
    ---------
    Where the model is smooth, as told there. The length is changed at the cap: behind a bend that
    ends there a straight grows and the bend is cut, and the derivative is the mean of the two.

    Check
    -----
    Central differences of whole solutions on the same grid, to 1e-6, for each input, in
    tests/models/steady/test_sensitivity.py.
    """
    inputs = tuple(INPUTS[name] for name in (INPUTS if names is None else names))
    case = answer.case
    value = np.stack([one.value(case) for one in inputs])
    steps = [one.step for one in inputs]
    response = respond(Solution.of(answer), [_path(one, case) for one in inputs], steps)
    relative = np.array([one.relative for one in inputs])[:, None]
    unit = np.where(relative, value, 1.0)  # per unit of the input, from per unit of its logarithm
    unit = np.where((relative & (value == 0)) | ~np.isfinite(value), np.nan, unit)
    return Sensitivity(inputs, value, *_scaled(response, unit))


def _path(one: Input, case: Case) -> Callable[[float], Case]:
    """Along one input, or its logarithm."""
    value = one.value(case)

    def at(offset: float) -> Case:
        return one.apply(case, value * (1 + offset) if one.relative else value + offset)

    return at


def _scaled(
    response: Response, unit: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    per_node = unit[:, :, None]
    return (
        response.resonance / unit,
        response.gas / per_node,
        response.wall / per_node,
        response.skin / per_node,
    )
