"""Many designs: which to look at, what matters among them, a chunk at a time.

Public: ``sampling``, ``ranking``, ``chunks``.
"""
