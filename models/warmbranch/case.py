"""Everything the forward model needs, for a batch of designs."""

from __future__ import annotations

from dataclasses import dataclass

from warmbranch.batch import Batched
from warmbranch.closures import Closures
from warmbranch.gas import Composition
from warmbranch.geometry import Branch
from warmbranch.main_pipe import MainPipe
from warmbranch.materials import Metal
from warmbranch.surroundings import Covering, Surroundings


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
