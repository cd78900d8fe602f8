"""Exact solutions, of fins, of bodies that warm up and of ducts without losses.

The solvers are measured against them.
"""

from closed_forms.ducts import (
    LinearDuct,
    exponential_duct_resonances,
    linear_duct_mouth_reactance,
    linear_duct_resonances,
    quarter_wave_frequency,
    quarter_wave_frequency_with_mouth,
    uniform_notch_width,
    uniform_transmission_loss,
)
from closed_forms.fins import (
    CoupledFin,
    CoupledTemperatures,
    Fin,
    coupled_fin,
    fin_base_heat,
    fin_excess_ratio,
)
from closed_forms.transients import (
    WarmingFin,
    fin_warming,
    long_fin_warming,
    lumped_temperature,
    lumped_time_constant,
)

__all__ = [
    "CoupledFin",
    "CoupledTemperatures",
    "Fin",
    "LinearDuct",
    "WarmingFin",
    "coupled_fin",
    "exponential_duct_resonances",
    "fin_base_heat",
    "fin_excess_ratio",
    "fin_warming",
    "linear_duct_mouth_reactance",
    "linear_duct_resonances",
    "long_fin_warming",
    "lumped_temperature",
    "lumped_time_constant",
    "quarter_wave_frequency",
    "quarter_wave_frequency_with_mouth",
    "uniform_notch_width",
    "uniform_transmission_loss",
]
