"""Exact solutions, of fins and of ducts without losses: the solvers are measured against them."""

from warmbranch.closed_forms.ducts import (
    LinearDuct,
    exponential_duct_resonances,
    linear_duct_mouth_reactance,
    linear_duct_resonances,
    quarter_wave_frequency,
    quarter_wave_frequency_with_mouth,
    uniform_notch_width,
    uniform_transmission_loss,
)
from warmbranch.closed_forms.fins import (
    CoupledFin,
    CoupledTemperatures,
    Fin,
    coupled_fin,
    fin_base_heat,
    fin_excess_ratio,
)

__all__ = [
    "CoupledFin",
    "CoupledTemperatures",
    "Fin",
    "LinearDuct",
    "coupled_fin",
    "exponential_duct_resonances",
    "fin_base_heat",
    "fin_excess_ratio",
    "linear_duct_mouth_reactance",
    "linear_duct_resonances",
    "quarter_wave_frequency",
    "quarter_wave_frequency_with_mouth",
    "uniform_notch_width",
    "uniform_transmission_loss",
]
