"""Sound in a closed duct whose gas changes along it; heat and surroundings are unknown here.

Public: ``acoustics`` (impedance, transmission loss), ``viscothermal`` (losses at the wall),
``resonance``, ``mouth`` (its length correction), ``discretisation`` (a profile as cells), ``tail``,
``placement``. What a bend does to inertance is of the shape alone: ``case.geometry``.
"""
