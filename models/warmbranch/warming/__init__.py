"""From cold to warm, or along any drive.

Public: ``solve.warm_up``, ``drive``, ``wander``, ``bands``.
"""
