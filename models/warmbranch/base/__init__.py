"""What every room stands on: batches of designs, constants, errors, stopping, tallies.

Public: ``batch``, ``constants``, ``errors``, ``stopping``, ``tally``.
"""
