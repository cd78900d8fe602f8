"""What is believed of the unknown coefficients, and what follows for the answer.

Public: ``unknowns``, ``calibration``, ``draws``, ``forecast``, ``prediction``, ``shop``.
"""
