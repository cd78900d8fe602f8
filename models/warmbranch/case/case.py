"""Everything the forward model needs, for a batch of designs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from warmbranch.base.batch import Batched, FloatArray
from warmbranch.base.constants import RADIATION_TERMS
from warmbranch.case.closures import Closures
from warmbranch.case.geometry import Branch
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import Metal
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.gas.emissivity import exchange_coefficients
from warmbranch.gas.gas import SPECIES, Composition
from warmbranch.gas.saturation import vapour_content


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

    @cached_property
    def radiation_coefficients(self) -> FloatArray:
        """Of the gas's radiation to the bore, as :func:`exchange_coefficients` has them.

        Its path is that of the bore at the mouth.

        (designs, RADIATION_TERMS); 0 for a gas taken as transparent and where the inner film is
        fixed.
        """
        strength = self.closures.gas_radiation
        strength = np.where(np.isnan(self.closures.fixed_inner_film), strength, 0.0)
        if not np.any(strength):
            return np.zeros((len(self), RADIATION_TERMS))
        shares = self.gas.mole_fractions
        found = exchange_coefficients(
            shares[:, SPECIES.index("H2O")],
            shares[:, SPECIES.index("CO2")],
            self.surroundings.pressure,
            self.branch.bore,
        )
        return strength[:, None] * found

    @cached_property
    def vapour_content(self) -> FloatArray:
        """φ of the vapour in the gas, (designs,); 0 where none is to condense: see vapour.py."""
        share = self.gas.mole_fractions[:, SPECIES.index("H2O")]
        return np.where(self.closures.condensation, vapour_content(share), 0.0)
