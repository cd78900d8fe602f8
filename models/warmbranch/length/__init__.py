"""How long to build and to cut.

Public: ``solve`` (target to length, building long, trims), ``effects``, ``compromise``, ``pair``,
``bandwidth``, ``folding``, ``outline``, ``cut_list``, ``conditions``.
"""
