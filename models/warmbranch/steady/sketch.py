"""A grid that crowds where the profiles bend, found from a sketch of them on few nodes.

The sketch also starts the search on that grid, which then takes two steps instead of five.
"""

from __future__ import annotations

import numpy as np

from warmbranch import core
from warmbranch.base.batch import FloatArray, IntArray
from warmbranch.base.errors import NotConvergedError
from warmbranch.case.bores import aligned
from warmbranch.case.case import Case
from warmbranch.core import calls, records
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.discretise import WALL_SCALES, heat_balance
from warmbranch.heat.grid import DEFAULT_NODES, DENSITY, SKETCH_NODES, STEP_EDGES
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.newton import Tolerances
from warmbranch.heat.profile import Temperatures
from warmbranch.heat.temperature import solve_steady
from warmbranch.steady.interplay import Mouth, solve_temperatures

SKETCH_TOLERANCES = Tolerances(step=0.1, left=0.001, imbalance=np.inf)
"""Of the sketch: what it is off by moves nodes by no more than some millionths of the length."""

SKETCH_AGREEMENT = 1e-2
"""Relative change of the first resonance at which the sketch's mixing by pulsation will do."""

EVENNESS = 0.6
"""Density of nodes everywhere, over the mean of the density that bends ask for: by measurement
the one that serves best."""

CAP_CROWDING = 6.0
"""Factor of the density at the cap of a wrapped branch. There the skins of plate and last strip of
tube are one, an error as large as the strip is wide."""

FAINT = 1.0
"""K. A profile that bends by less over the length asks for even nodes."""

DRYING = 600.0
"""K that a bend of the dryness, mol/mol, weighs beside one of the temperatures. Sound slows by a
mole of water that each mole loses as by 100 K that it cools; by measurement six times that serves
best where the gas dries within a bore."""

SMOOTHINGS = 3
"""How often the density is averaged with its neighbours', so that spacing changes smoothly."""


def balance_and_guess(
    case: Case,
    gas: MixtureTable,
    air: MixtureTable,
    mouth: Mouth,
    *,
    nodes: int = DEFAULT_NODES,
    position: FloatArray | None = None,
) -> tuple[HeatBalance, Temperatures | None]:
    """Put a batch on the grid that suits each design, without pulsation.

    Parameters
    ----------
    case, gas, air, position
        As for :func:`discretise.heat_balance`.
    mouth : Mouth
    nodes : int
        Up to ``SKETCH_NODES``, the graded grid serves as it is.

    Returns
    -------
    balance : HeatBalance
    guess : Temperatures or None
        On its nodes, if there has been a sketch.

    Raises
    ------
    NotConvergedError
        If a design's heat balance does not converge, neither on few nodes nor on all.
    """
    if position is not None or nodes <= SKETCH_NODES:
        return _balance(case, gas, air, mouth, nodes=nodes, position=position), None
    fine = _sketched(case, gas, air, mouth, nodes)
    if case.branch.stepped.any():
        fine = _on_steps(fine, aligned(case.branch, fine.position, STEP_EDGES))
    balance = _balance(case, gas, air, mouth, position=fine.position)
    return balance, fine


def _on_steps(sketch: Temperatures, position: FloatArray) -> Temperatures:
    """The same temperatures on nodes drawn aside, near enough for a guess."""

    def there(values: FloatArray) -> FloatArray:
        rows = zip(position, sketch.position, values, strict=True)
        drawn: list[FloatArray] = [np.interp(new, old, row) for new, old, row in rows]
        return np.array(drawn)

    parts = sketch.gas, sketch.wall, sketch.skin, sketch.dried
    return Temperatures(position, *(there(values) for values in parts))


def _balance(
    case: Case,
    gas: MixtureTable,
    air: MixtureTable,
    mouth: Mouth,
    *,
    nodes: int = DEFAULT_NODES,
    position: FloatArray | None = None,
) -> HeatBalance:
    return heat_balance(
        case, gas, air, mouth.speed, nodes=nodes, position=position, resistance=mouth.resistance
    )


def _sketched(
    case: Case, gas: MixtureTable, air: MixtureTable, mouth: Mouth, nodes: int
) -> Temperatures:
    """Nodes, and a guess on them."""
    coarse = _balance(case, gas, air, mouth, nodes=SKETCH_NODES)
    try:
        rough = solve_temperatures(
            coarse, mouth, agreement=SKETCH_AGREEMENT, tolerances=SKETCH_TOLERANCES
        )
    except NotConvergedError as error:
        return _without(error, case, gas, air, mouth, nodes)
    crowding = np.where(case.covering.wrap_thickness > 0, CAP_CROWDING, 1.0)
    return refined(rough.temperatures, nodes, crowding)


def _without(
    error: NotConvergedError,
    case: Case,
    gas: MixtureTable,
    air: MixtureTable,
    mouth: Mouth,
    nodes: int,
) -> Temperatures:
    """What so few nodes cannot hold is solved, at rest, on graded nodes; the others as ever."""
    lost = np.isin(np.arange(len(case)), error.designs)
    found = Temperatures(*(np.zeros((len(case), nodes)) for _ in range(5)))
    for which, lay in ((lost, _graded), (~lost, _sketched)):
        these = np.flatnonzero(which)
        if len(these) == 0:
            continue
        try:
            part = lay(case.take(these), gas.take(these), air, mouth.take(these), nodes)
        except NotConvergedError as failure:
            raise failure.among(these) from failure
        for name in ("position", "gas", "wall", "skin", "dried"):
            getattr(found, name)[these] = getattr(part, name)
    return found


def _graded(
    case: Case, gas: MixtureTable, air: MixtureTable, mouth: Mouth, nodes: int
) -> Temperatures:
    balance = _balance(case, gas, air, mouth, nodes=nodes)
    profile = solve_steady(balance, mouth.wall)
    return profile.temperatures


def refined(sketch: Temperatures, nodes: int, cap_crowding: FloatArray) -> Temperatures:
    """Place nodes where the sketched gas and wall bend, and interpolate there.

    The scheme's error in what flows through a face grows as ``h² |T''|``. Nodes whose density goes
    as the root of ``|T''|``, that of gas and wall added, keep it even; by measurement they are
    better in the worst case than by the third root, which makes the sum of ``h³ |T''|`` least.

    Parameters
    ----------
    sketch : Temperatures
    nodes : int
    cap_crowding : (designs,) array, dimensionless
        Factor of the density at the cap.

    Returns
    -------
    Temperatures
        From the same mouth to the same cap; temperatures by cubic Hermite pieces.
    """
    compiled = core.at_hand()
    if compiled is not None:
        parts = sketch.position, sketch.gas, sketch.wall, sketch.skin, sketch.dried
        return Temperatures(*calls.refined(compiled, parts, nodes, cap_crowding, grid_rules()))
    x = sketch.position
    step = np.diff(x, axis=1)
    density = _density(sketch)
    density[:, -1] *= cap_crowding
    within = (density[:, 1:] + density[:, :-1]) / 2 * step
    passed = np.concatenate([np.zeros((len(x), 1)), np.cumsum(within, axis=1)], axis=1)
    wanted = np.linspace(0.0, 1.0, nodes) * passed[:, -1:]
    piece = _piece(passed, nodes)
    row = np.arange(len(x))[:, None]

    def at(values: FloatArray, offset: int = 0) -> FloatArray:
        return values.ravel()[row * values.shape[1] + piece + offset]

    # The density is linear within a piece, so what is passed is quadratic.
    here, h, rest = at(density), at(step), wanted - at(passed)
    curvature = 2 * (at(density, 1) - here) / h
    run = 2 * rest / (here + np.sqrt(np.square(here) + curvature * rest))
    t = run / h
    position = at(x) + run
    position[:, 0], position[:, -1] = x[:, 0], x[:, -1]

    def between(values: FloatArray) -> FloatArray:
        chord = (values[:, 1:] - values[:, :-1]) / step
        slope = _slopes(chord, step)
        low, left, right, mean = at(values), at(slope), at(slope, 1), at(chord)
        return low + run * (
            left + t * ((3 * mean - 2 * left - right) + t * (left + right - 2 * mean))
        )

    wall = between(sketch.wall)
    bare = np.array_equal(sketch.skin, sketch.wall)
    skin = wall if bare else between(sketch.skin)
    return Temperatures(position, between(sketch.gas), wall, skin, between(sketch.dried))


def grid_rules() -> records.GridRules:
    """How nodes are placed, for the compiled core."""
    return records.GridRules(
        DENSITY, WALL_SCALES, FAINT, EVENNESS, CAP_CROWDING, DRYING, SMOOTHINGS, STEP_EDGES
    )


def _density(sketch: Temperatures) -> FloatArray:
    """Wanted density of nodes at those of the sketch, up to a factor of each design's."""
    x, length = sketch.position, sketch.position[:, -1:]
    step = np.diff(x, axis=1)
    density = np.empty_like(x)
    turn = np.abs(np.diff(np.diff(sketch.gas, axis=1) / step, axis=1))
    turn += np.abs(np.diff(np.diff(sketch.wall, axis=1) / step, axis=1))
    turn += DRYING * np.abs(np.diff(np.diff(sketch.dried, axis=1) / step, axis=1))
    bend = turn / (step[:, 1:] + step[:, :-1]) * 2
    density[:, 1:-1] = np.sqrt(bend + FAINT / np.square(length))
    for _ in range(SMOOTHINGS):
        density[:, 0], density[:, -1] = density[:, 1], density[:, -2]
        density[:, 1:-1] = (density[:, :-2] + 2 * density[:, 1:-1] + density[:, 2:]) / 4
    density[:, 0], density[:, -1] = density[:, 1], density[:, -2]
    mean = ((density[:, 1:] + density[:, :-1]) / 2 * step).sum(axis=1, keepdims=True) / length
    return density + EVENNESS * mean


def _slopes(chord: FloatArray, step: FloatArray) -> FloatArray:
    """Slopes at the nodes, from the parabola through each and its neighbours."""
    slope = np.empty((chord.shape[0], chord.shape[1] + 1))
    before, after = step[:, :-1], step[:, 1:]
    slope[:, 1:-1] = (chord[:, :-1] * after + chord[:, 1:] * before) / (before + after)
    slope[:, 0] = 2 * chord[:, 0] - slope[:, 1]
    slope[:, -1] = 2 * chord[:, -1] - slope[:, -2]
    return slope


def _piece(passed: FloatArray, nodes: int) -> IntArray:
    """In which piece of the sketch each evenly spread amount lies, (designs, nodes)."""
    designs, pieces = passed.shape[0], passed.shape[1] - 1
    # The first node at or beyond each inner end of a piece; counted up, the pieces left behind.
    share = np.ceil(passed[:, 1:-1] / passed[:, -1:] * (nodes - 1))
    begins = nodes * np.arange(designs, dtype=np.float64)[:, None]
    flat = (np.minimum(share, nodes - 1) + begins).ravel().astype(np.int64)
    count = np.bincount(flat, minlength=designs * nodes).reshape(designs, nodes)
    return np.minimum(np.cumsum(count, axis=1), pieces - 1)
