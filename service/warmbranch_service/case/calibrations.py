"""Calibrations between the request and the physics."""

from __future__ import annotations

import numpy as np

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.shop import JobTraits, Ranges, Shop
from warmbranch_service.case import calibration as schema
from warmbranch_service.case.convert_batch import MM, PER_HOUR, kelvin
from warmbranch_service.case.shop import KeptPlace
from warmbranch_service.contract.rounding import digits
from warmbranch_service.version import MODEL_VERSION

DIGITS = 8
"""Significant digits of a written calibration: far more than anything was learned to."""


def to_physics(given: schema.Calibration) -> Calibration:
    """The calibration of a request.

    Raises
    ------
    InputError
        If it is none.
    """
    size = len(given.unknowns)
    return Calibration(
        names=tuple(given.unknowns),
        mean=np.array(given.mean, dtype=np.float64),
        covariance=np.array(given.covariance, dtype=np.float64).reshape(size, size),
    )


def shop_of(given: schema.Calibration) -> Shop | None:
    """The shop of a request's calibration; None for that of a fit.

    Raises
    ------
    InputError
        If it is none.
    """
    if given.shop is None:
        return None
    on = given.shop.learned_on
    return Shop(to_physics(given), Ranges(place_of(on.least), place_of(on.most)))


def place_of(given: KeptPlace) -> JobTraits:
    """What a job was, in SI."""
    return JobTraits(
        bore=given.bore_mm * MM,
        length=given.length_mm * MM,
        gas_temperature=kelvin(given.gas_temperature_degC),
        mass_flow=given.mass_flow_kg_h * PER_HOUR,
    )


def place_told(found: JobTraits) -> KeptPlace:
    """What a job was, as it leaves."""
    return KeptPlace(
        bore_mm=digits(found.bore / MM, DIGITS),
        length_mm=digits(found.length / MM, DIGITS),
        gas_temperature_degC=digits(found.gas_temperature - kelvin(0.0), DIGITS),
        mass_flow_kg_h=digits(found.mass_flow / PER_HOUR, DIGITS),
    )


def to_answer(found: Calibration) -> schema.Calibration:
    """A calibration as it leaves."""
    return schema.Calibration(
        version=schema.VERSION,
        model_version=MODEL_VERSION,
        unknowns=list(found.names),
        mean=[digits(value, DIGITS) for value in found.mean],
        covariance=[[digits(value, DIGITS) for value in row] for row in found.covariance],
    )
