"""Closed side branches on hot pipes: temperatures along them, true resonance, quiet tone.

SI units and kelvin throughout; every array's leading axis is the design.
``steady/solve.py`` tells the whole flow on one page.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from warmbranch.base.batch import Batched as Batched
    from warmbranch.base.errors import GeometryError as GeometryError
    from warmbranch.base.errors import InputError as InputError
    from warmbranch.base.errors import NotConvergedError as NotConvergedError
    from warmbranch.base.errors import PropertyRangeError as PropertyRangeError
    from warmbranch.base.errors import WarmbranchError as WarmbranchError
    from warmbranch.case.case import Case as Case
    from warmbranch.case.closures import Closures as Closures
    from warmbranch.case.closures import MouthModel as MouthModel
    from warmbranch.case.geometry import Branch as Branch
    from warmbranch.case.geometry import Piece as Piece
    from warmbranch.case.main_pipe import MainPipe as MainPipe
    from warmbranch.case.materials import metal as metal
    from warmbranch.case.one_case import one_case as one_case
    from warmbranch.case.surfaces import surface as surface
    from warmbranch.case.surroundings import Covering as Covering
    from warmbranch.case.surroundings import Surroundings as Surroundings
    from warmbranch.gas.combustion import burnt_gas as burnt_gas
    from warmbranch.gas.gas import Composition as Composition
    from warmbranch.steady.answer import Answer as Answer
    from warmbranch.steady.solve import solve as solve

_LATE = {
    "Batched": "base.batch",
    "GeometryError": "base.errors",
    "InputError": "base.errors",
    "NotConvergedError": "base.errors",
    "PropertyRangeError": "base.errors",
    "WarmbranchError": "base.errors",
    "Case": "case.case",
    "Closures": "case.closures",
    "MouthModel": "case.closures",
    "Branch": "case.geometry",
    "Piece": "case.geometry",
    "MainPipe": "case.main_pipe",
    "metal": "case.materials",
    "one_case": "case.one_case",
    "surface": "case.surfaces",
    "Covering": "case.surroundings",
    "Surroundings": "case.surroundings",
    "burnt_gas": "gas.combustion",
    "Composition": "gas.gas",
    "Answer": "steady.answer",
    "solve": "steady.solve",
}
"""Public name to its module. Imported when first asked for: a command pays for what it needs."""

# The names are no names of this module until they are asked for, which a checker cannot see.
__all__ = sorted(_LATE)  # pyright: ignore[reportUnsupportedDunderAll]


def __getattr__(name: str) -> object:
    if name in _LATE:
        return getattr(import_module(f"{__name__}.{_LATE[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return __all__
