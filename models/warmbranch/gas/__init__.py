"""The gas: mixtures, what burning leaves, when water condenses.

Public: ``gas`` (mixtures and their tables), ``combustion``, ``saturation`` (and the dew point),
``emissivity`` (what hot gas radiates).
"""
