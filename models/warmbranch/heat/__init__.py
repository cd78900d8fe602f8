"""Heat along the branch: films, radiation, mixing, the balance and its solution.

Public: ``temperature.solve_steady``, ``discretise.heat_balance``, ``films``, ``nusselt``,
``radiation``, ``mixing``, ``main_pipe_wall``.
"""
