"""Ways of folding a branch of a given length into a given space, with stock bends.

A fold leaves the main pipe by a stub and an elbow, then runs to and fro in parallel passes joined
by U-bends, away from the main pipe or beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from warmbranch.case.geometry import Piece
from warmbranch.length.outline import Outline, Pipework, Space, outline

MOST_PASSES = 6

PROPOSALS = 3

GAP = 0.02
"""m. Air between the branch and the main pipe; room for heat to leave and for a weld."""

SHORTEST_STUB = 0.03
"""m. Straight at the mouth, for the weld."""


class Run(Enum):
    """Which way the passes run."""

    ALONG = "along the main pipe"
    UP = "upward"


class Stack(Enum):
    """Which way the passes lie side by side."""

    AWAY = "away from the main pipe"
    BESIDE = "beside each other at one distance from the main pipe"


@dataclass(frozen=True)
class Fold:
    """One way of folding.

    Parameters
    ----------
    passes : int
        Parallel stretches; 0 for a branch straight out.
    run : Run
    stack : Stack
    pipework : Pipework
    outline : Outline
    """

    passes: int
    run: Run
    stack: Stack
    pipework: Pipework
    outline: Outline


@dataclass(frozen=True)
class TubeToFold:
    """What is folded: tube and bends, m.

    Parameters
    ----------
    outside_diameter, cap_thickness : float, m
    bend_radius : float, m
        Centre-line radius of the bends.
    main_wall : float, m
        Wall of the main pipe, which the centre-line begins inside of.
    """

    outside_diameter: float
    cap_thickness: float
    bend_radius: float
    main_wall: float

    @property
    def stub(self) -> float:
        """Straight at the mouth that keeps a pass clear of the main pipe."""
        clear = self.main_wall + GAP + self.outside_diameter / 2 - self.bend_radius
        return max(SHORTEST_STUB + self.main_wall, clear)


def folds(tube: TubeToFold, length: float, space: Space) -> list[Fold]:
    """Up to three ways of folding that fit, those of the fewest bends first.

    Parameters
    ----------
    tube : TubeToFold
    length : float, m
        Along the centre-line, as built.
    space : Space
        The mouth is taken at whichever end of it suits.

    Returns
    -------
    list of Fold
        Empty where none fits.

    Check
    -----
    Every fold has the length asked for and fits by its own outline, in
    tests/models/length/test_folding.py.
    """
    fitting = [fold for fold in _all(tube, length) if space.holds(fold.outline.envelope)]
    fitting.sort(key=lambda fold: (fold.pipework.bends, _volume(fold)))
    chosen: list[Fold] = []
    for fold in fitting:
        # The same fold turned is no other proposal while there are others.
        if all(fold.passes != other.passes or fold.run != other.run for other in chosen):
            chosen.append(fold)
    chosen += [fold for fold in fitting if fold not in chosen]
    return sorted(chosen[:PROPOSALS], key=lambda fold: fold.pipework.bends)


def _volume(fold: Fold) -> float:
    envelope = fold.outline.envelope
    return envelope.width * envelope.depth * envelope.height


def _all(tube: TubeToFold, length: float) -> list[Fold]:
    straight = Pipework((Piece(length),), (0.0,))
    found = [_fold(tube, 0, Run.ALONG, Stack.AWAY, straight)]
    for passes in range(1, MOST_PASSES + 1):
        for run in Run:
            for stack in Stack:
                if passes == 1 and stack is Stack.BESIDE:
                    continue  # one pass has nothing beside it
                pipework = serpentine(tube, length, passes, run, stack)
                if pipework is not None:
                    found.append(_fold(tube, passes, run, stack, pipework))
    return found


def _fold(tube: TubeToFold, passes: int, run: Run, stack: Stack, pipework: Pipework) -> Fold:
    laid = outline(pipework, 0.0, tube.outside_diameter, tube.cap_thickness)
    return Fold(passes, run, stack, pipework, laid)


def serpentine(
    tube: TubeToFold, length: float, passes: int, run: Run, stack: Stack
) -> Pipework | None:
    """A stub, an elbow and ``passes`` equal passes joined by U-bends, of ``length`` in all.

    None where the length does not reach: every pass must be as long as the tube is wide.
    """
    radius = tube.bend_radius
    bent = math.pi * radius * (passes - 0.5)
    straight = (length - tube.stub - bent) / passes
    if straight < tube.outside_diameter:
        return None
    # Untwisted, the elbow turns along the main pipe; a quarter turn makes it turn upward.
    elbow = 0.0 if run is Run.ALONG else math.pi / 2
    # Half a turn reverses the sense of a bend in its own plane; a quarter turn leaves the plane.
    first_u = math.pi if stack is Stack.AWAY else math.pi / 2
    pieces = [Piece(tube.stub), Piece.bend(math.pi / 2, radius), Piece(straight)]
    twists = [0.0, elbow, 0.0]
    for number in range(passes - 1):
        pieces += [Piece.bend(math.pi, radius), Piece(straight)]
        twists += [first_u if number == 0 else math.pi, 0.0]
    return Pipework(tuple(pieces), tuple(twists))
