"""The hot loops in C, and calling them.

The C files beside this one hold the physics that thousands of designs go through: films outside
(``outside_film.c``), the heat balance along the branch (``heat_balance.c``), its linear system
(``elimination.c``), tubes that change along it (``pieces.c``), nodes (``grid.c``), cells
(``discretisation.c``), sound (``sound.c``, ``resonance.c``), the whole way from a case to its
answer (``steady.c``) and the warm-up (``warm_up.c``). Everything works without them, on numpy
alone, with the same answers to rounding; tests hold both to each other. They are compiled when the
package is built (``build.py``), loaded in milliseconds (``library.py``), and called with records
(``records.py``).

Public: :func:`at_hand`, :func:`name`, :func:`allowed` and ``OFF``, and the calls of ``calls.py``.
"""

from warmbranch.core.library import NUMPY, OFF, Library, allowed, at_hand, name

__all__ = ["NUMPY", "OFF", "Library", "allowed", "at_hand", "name"]
