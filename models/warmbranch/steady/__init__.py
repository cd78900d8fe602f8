"""The branch warm through: from a case to an answer.

Public: ``solve.solve``, ``answer.Answer``, ``cautions.findings``, ``sensitivity.sensitivity``,
``leak``.
"""
