"""Sound in a closed duct whose gas changes along it; heat and surroundings are unknown here.

Public: ``acoustics``, ``resonance``, ``mouth``, ``discretisation``, ``tail``, ``placement``.
"""
