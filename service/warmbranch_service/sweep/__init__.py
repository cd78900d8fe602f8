"""Sweeps: many designs of one case, in chunks, by whoever executes them."""
