"""From a recording to the engine's speed, what drones, and where a branch bites.

Knows sound and an engine's layout; a branch only through a transmission-loss function handed to it.
"""
