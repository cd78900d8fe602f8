"""Physical constants and reference states, SI."""

GAS_CONSTANT = 8.314462618
"""Molar gas constant, J/(mol K). CODATA 2018, exact to the digits shown."""

STEFAN_BOLTZMANN = 5.670374419e-8
"""Stefan–Boltzmann constant, W/(m² K⁴). CODATA 2018."""

GRAVITY = 9.80665
"""Standard acceleration of free fall, m/s². ISO 80000-3, exact by definition."""

ICE_POINT = 273.15
"""0 °C in kelvin, exact by definition."""

STANDARD_PRESSURE = 101325.0
"""Standard atmosphere, Pa, exact by definition."""

RADIATION_TERMS = 5
"""Coefficients of a gas's radiation: gas/emissivity.py makes them, the core reads as many."""
