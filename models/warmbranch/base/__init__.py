"""What every room stands on: batches of designs, constants, errors, stopping, tallies, loops.

Public: ``batch``, ``constants``, ``errors``, ``stopping``, ``tally``, ``kernel``.
"""
