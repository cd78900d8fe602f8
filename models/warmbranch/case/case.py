"""Everything the forward model needs, for a batch of designs."""

from __future__ import annotations

from dataclasses import dataclass

from warmbranch.base.batch import Batched
from warmbranch.case.closures import Closures
from warmbranch.case.geometry import Branch
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import Metal
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.gas.gas import Composition


@dataclass(frozen=True)
class Case(Batched):
    """A batch of complete cases; every part has the same number of designs (or one)."""

    branch: Branch
    metal: Metal
    covering: Covering
    main_pipe: MainPipe
    gas: Composition
    surroundings: Surroundings
    closures: Closures
