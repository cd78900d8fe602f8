"""Other mouths: for other solvers, which hold them in a line each, and for chosen designs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from warmbranch.case.case import Case
from warmbranch.case.closures import FLOWING_NUSSELT, Closures


def unresisting(case: Case) -> Case:
    """The same behind a mouth that does not resist, with the film of gas that flows through."""
    one = np.ones(len(case))
    closures = case.closures.changed(
        mouth_exchange=np.inf * one, stirred_film=0 * one, still_nusselt=FLOWING_NUSSELT * one
    )
    return replace(case, closures=closures)


def open_mouth(*, buoyancy: float = 1.0) -> Closures:
    """A mouth that does not resist, stirring far in, a film that goes with the mixing, vapour
    that stays in a gas that does not radiate."""
    one = np.ones(1)
    return Closures.default().changed(
        mouth_exchange=np.inf * one,
        stirring=0.15 * one,
        reach=10.0 * one,
        stanton=0.01 * one,
        stirred_film=0.0 * one,
        still_nusselt=FLOWING_NUSSELT * one,
        buoyancy=buoyancy * one,
        condensation=np.zeros(1, dtype=np.bool_),
        gas_radiation=0.0 * one,
    )
