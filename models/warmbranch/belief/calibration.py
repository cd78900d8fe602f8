"""What is believed of the unknowns, before and after readings, and draws from it.

``calibrated_ensemble`` turns one case into many equally likely ones; pushed through
``steady.solve`` they give intervals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import InputError
from warmbranch.belief.draws import standard_normal
from warmbranch.belief.unknown import Gaussian, Spreads
from warmbranch.belief.unknowns import UNKNOWNS, with_unknowns
from warmbranch.case.case import Case

ENSEMBLE = 256
"""Draws of an ensemble."""


@dataclass(frozen=True)
class Calibration:
    """A normal distribution of unknowns, each in its own coordinate (see unknowns.py).

    Parameters
    ----------
    names : tuple of str
        Keys of ``UNKNOWNS``.
    mean : (unknowns,) array
    covariance : (unknowns, unknowns) array
        Symmetric, positive semi-definite.

    Raises
    ------
    InputError
        If the parts do not fit each other.
    """

    names: tuple[str, ...]
    mean: FloatArray
    covariance: FloatArray

    def __post_init__(self) -> None:
        unknown = [name for name in self.names if name not in UNKNOWNS]
        if unknown or len(set(self.names)) != len(self.names):
            raise _refused("names", ", ".join(self.names), "names must be unknowns, each once")
        size = len(self.names)
        if self.mean.shape != (size,) or self.covariance.shape != (size, size):
            raise _refused("covariance", size, "mean and covariance must have a row a name")
        if not (np.all(np.isfinite(self.mean)) and np.all(np.isfinite(self.covariance))):
            raise _refused("covariance", "NaN", "all numbers must be finite")
        if not np.allclose(self.covariance, self.covariance.T, rtol=1e-9, atol=1e-12):
            raise _refused("covariance", "asymmetric", "the covariance must be symmetric")
        least = float(np.linalg.eigvalsh(self.covariance).min(initial=0.0))
        # Rounding of a written covariance may leave eigenvalues this far below zero.
        if least < -1e-9 * max(1.0, float(np.trace(self.covariance))):
            raise _refused("covariance", least, "the covariance must have no negative eigenvalue")

    @staticmethod
    def prior(case: Case, spreads: Spreads | None = None) -> Calibration:
        """What is believed of the unknowns of one design before any reading."""
        spreads = spreads or Spreads()
        found: dict[str, Gaussian] = {}
        for name, unknown in UNKNOWNS.items():
            prior = unknown.prior(case, spreads)
            if prior is not None and name not in spreads.fixed:
                found[name] = prior
        return Calibration(
            names=tuple(found),
            mean=np.array([prior.centre for prior in found.values()]),
            covariance=np.diag([prior.spread**2 for prior in found.values()]),
        )

    @property
    def spread(self) -> FloatArray:
        """Standard deviation of each unknown, in its own coordinate."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def root(self) -> FloatArray:
        """A square root R of the covariance, R Rᵀ = covariance; (unknowns, unknowns)."""
        values, vectors = np.linalg.eigh(self.covariance)
        return vectors * np.sqrt(np.maximum(values, 0.0))

    @property
    def symmetric_root(self) -> FloatArray:
        """The symmetric square root of the covariance, (unknowns, unknowns).

        Of independent unknowns each keeps a white coordinate of its own, in their order.
        """
        values, vectors = np.linalg.eigh(self.covariance)
        return (vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T

    def draws(self, size: int, seed: int = 0) -> FloatArray:
        """Equally likely coordinates, (size, unknowns)."""
        return self.mean + standard_normal(size, len(self.names), seed) @ self.root.T

    def effective_in(self, case: Case) -> Calibration:
        """The part that has an effect in one design: what the case fixes is left out."""
        every = Spreads(
            emissivity=1.0,
            air_temperature=1.0,
            gas_temperature=1.0,
            air_speed=1.0,
            radiant_temperature=1.0,
            rise=1.0,
            wrap_conductivity=1.0,
        )
        keep = [
            i for i, name in enumerate(self.names) if UNKNOWNS[name].prior(case, every) is not None
        ]
        return Calibration(
            tuple(self.names[i] for i in keep),
            self.mean[keep],
            self.covariance[np.ix_(keep, keep)],
        )

    def applied_to(self, case: Case) -> Case:
        """One design with the means of the unknowns: the case to predict without intervals."""
        own = self.effective_in(case)
        return with_unknowns(case, own.names, own.mean[None])


def calibrated_ensemble(
    case: Case, calibration: Calibration, size: int = ENSEMBLE, seed: int = 0
) -> Case:
    """Equally likely cases, before a fit (:meth:`Calibration.prior`) or after one.

    Parameters
    ----------
    case : Case
        One design, as the user gives it: not yet :meth:`Calibration.applied_to`.
    calibration : Calibration
    size, seed : int

    Returns
    -------
    Case
        ``size`` designs.
    """
    own = calibration.effective_in(case)
    return with_unknowns(case, own.names, own.draws(size, seed))


def _refused(part: str, value: object, what: str) -> InputError:
    return InputError(
        f"This is no calibration: {what}.",
        field=f"closures.calibration.{part}",
        value=value,
        unit="1",
        remedy="Give a calibration as a fit returned it, unchanged.",
    )
