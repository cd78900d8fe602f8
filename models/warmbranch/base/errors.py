"""Everything the physics can raise.

WarmbranchError
 ├─ InputError            a given value is impossible; the sender can mend it
 │   ├─ GeometryError     sizes that make no pipe
 │   └─ PropertyRangeError  a state outside what the property data cover
 ├─ OutOfReachError       no admissible length has the tone; the sender can ask for another
 ├─ NotConvergedError     the solver stopped short; not the sender's fault
 └─ StoppedError          whoever asked has ended the work: see stopping.py
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray


class WarmbranchError(Exception):
    """Root of all errors raised by this package."""


class InputError(WarmbranchError):
    """A given value is impossible.

    Parameters
    ----------
    message : str
        One sentence that says what is wrong.
    field : str
        Which quantity, by its name in this package (``"branch.wall_thickness"``).
    value : object
        What was given, in ``unit``.
    unit : str
        SI unit of ``value``; ``"1"`` for a pure number.
    remedy : str
        What to give instead.
    """

    def __init__(self, message: str, *, field: str, value: object, unit: str, remedy: str) -> None:
        super().__init__(f"{message} ({field} = {value} {unit}). {remedy}")
        self.message = message
        self.field = field
        self.value = value
        self.unit = unit
        self.remedy = remedy


class GeometryError(InputError):
    """Sizes that make no pipe: a wall that leaves no bore, a bend tighter than the tube."""


class PropertyRangeError(InputError):
    """A temperature, pressure or composition outside what the property data cover."""


class OutOfReachError(WarmbranchError):
    """No admissible length of a branch has the wanted tone.

    Parameters
    ----------
    message : str
        One sentence that says what is wrong.
    reach : two float, Hz
        First resonances of the longest and of the shortest admissible branch; NaN where losses
        leave none.
    point : int
        Operating point whose tone it is.
    """

    def __init__(self, message: str, *, reach: tuple[float, float], point: int) -> None:
        super().__init__(f"{message} (reach {reach[0]:.4g} to {reach[1]:.4g} Hz, point {point})")
        self.message = message
        self.reach = reach
        self.point = point


class NotConvergedError(WarmbranchError):
    """A solver stopped before it met its tolerance.

    Parameters
    ----------
    message : str
        One sentence that says what did not converge.
    designs : tuple of int
        Indices, along the leading axis, of the designs that failed.
    residual : float
        Largest remaining relative residual.
    iterations : int
        Iterations spent.
    """

    def __init__(
        self, message: str, *, designs: tuple[int, ...], residual: float, iterations: int
    ) -> None:
        super().__init__(f"{message} (designs {designs}, residual {residual:.2e})")
        self.message = message
        self.designs = designs
        self.residual = residual
        self.iterations = iterations

    def among(self, designs: Sequence[int] | NDArray[np.intp]) -> NotConvergedError:
        """The same failure, told of a batch of which this one was the part ``designs``."""
        return NotConvergedError(
            self.message,
            designs=tuple(int(designs[design]) for design in self.designs),
            residual=self.residual,
            iterations=self.iterations,
        )


class StoppedError(WarmbranchError):
    """The work was ended before it was done, for a reason that its text tells."""
