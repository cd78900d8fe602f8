"""What each effect does to the length for a tone, from the one-temperature rule to the whole model.

The effects are taken one after the other, so that they add up to the whole difference. All are
worked out with the temperatures of the whole model's solution, as a function of the distance from
the mouth; a longer tube is filled on at the temperature of the cap.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import NotConvergedError
from warmbranch.case.geometry import Branch, Piece
from warmbranch.gas.gas import MixtureTable
from warmbranch.length.length_for_tone import one_temperature_length
from warmbranch.sound import acoustics, discretisation
from warmbranch.sound.acoustics import Duct
from warmbranch.steady.answer import Answer
from warmbranch.steady.stepped import bore_ratios

LENGTH_TOLERANCE = 1e-7
"""Relative change of the length at which a search ends; the secant's next step would be far
smaller still."""

MOST_EFFECT_STEPS = 30

MOST_LEVERAGE = 2000.0
"""Of a length's slope over that at the cap, or its inverse, that is believed of a secant: it goes
with the sections, of which the widest admissible is 900 times the narrowest."""


class Effects(NamedTuple):
    """Change of the length, m, by each effect in turn; each (designs,).

    Parameters
    ----------
    gas_composition : array
        The gas itself in place of dry air, still at one temperature.
    cold_tail : array
        The temperatures along the branch in place of one.
    mouth_correction : array
        The main pipe's gas that swings with the branch.
    wall_losses : array
        Viscous and thermal layers at the bore's wall.
    bends : array
        Their lower inertance.
    tone : array
        What the model leaves over, as a calibration learned it; 0 without one.
    bores : array
        Pieces of other tubes, with the gas that swings with their steps; 0 without one.
    """

    gas_composition: FloatArray
    cold_tail: FloatArray
    mouth_correction: FloatArray
    wall_losses: FloatArray
    bends: FloatArray
    tone: FloatArray
    bores: FloatArray

    @property
    def total(self) -> FloatArray:
        """Length by the whole model less that by the one-temperature rule, m."""
        return np.sum(np.stack(self), axis=0)


def effects(answer: Answer, frequency: FloatArray) -> Effects:
    """Change of the length for a tone by each effect, in the order of ``Effects``.

    Parameters
    ----------
    answer : Answer
        Of branches that resonate at ``frequency``.
    frequency : (designs,) array, Hz

    Returns
    -------
    Effects
        Their sum is the branch's length less the one-temperature length.

    Valid for
    ---------
    The order matters by a few hundredths of each effect, as it must where effects are no sum.

    Check
    -----
    Exact: the sum; and each against lengths found anew without the effect, in
    tests/models/length/test_effects.py.
    """
    case = answer.case
    hot = case.main_pipe.gas_temperature
    one_temperature = one_temperature_length(frequency, hot)
    uniform = answer.main_sound_speed / (4 * frequency)
    bare, with_mouth, lossy, own, stepped = _Straights(answer).lengths_for(frequency)
    return Effects(
        gas_composition=uniform - one_temperature,
        cold_tail=bare - uniform,
        mouth_correction=with_mouth - bare,
        wall_losses=lossy - with_mouth,
        bends=answer.length - stepped,
        tone=own - lossy,
        bores=stepped - own,
    )


def transit_time_length(answer: Answer, frequency: FloatArray) -> FloatArray:
    """Length at which the sum of local travel times is a quarter of a period, m.

    What the rule ``f = 1/(4 ∫dx/c)`` would have cut, without any correction, had it known the
    temperatures along the branch; beyond the cap they are taken as at the cap.

    Parameters
    ----------
    answer : Answer
    frequency : (designs,) array, Hz

    Returns
    -------
    (designs,) array, m

    Check
    -----
    Exact: a uniform tube gives c/(4f). tests/models/length/test_effects.py.
    """
    position, speed = answer.profile.position, answer.sound_speed
    steps = np.diff(position, axis=1) * (1 / speed[:, 1:] + 1 / speed[:, :-1]) / 2
    travelled = np.concatenate([np.zeros((len(steps), 1)), np.cumsum(steps, axis=1)], axis=1)
    wanted = 1 / (4 * frequency)
    within = _row_by_row(wanted[:, None], travelled, position)[:, 0]
    return within + np.maximum(wanted - travelled[:, -1], 0) * speed[:, -1]


class _Straights:
    """Straight tubes filled with the gas of an answer, cut or filled on to other lengths.

    Five to each design, in turn: without mouth correction and losses, with the first, with both,
    with what the model leaves over too, with steps of the bore too.
    """

    def __init__(self, answer: Answer) -> None:
        case, designs = answer.case, len(answer)
        # Without steps the fifth is the fourth.
        self.sets = 5 if case.branch.stepped.any() else 4
        each = np.tile(np.arange(designs), self.sets)
        self.old, self.gas = answer.profile.position[each], answer.profile.gas[each]
        self.wall, self.dried = answer.profile.wall[each], answer.profile.dried[each]
        self.length = answer.length[each]
        self.mixture = MixtureTable.of(case.gas).take(each % len(case.gas))
        self.pressure = case.surroundings.pressure[each]
        self.radius = case.branch.bore[each] / 2
        self.straight = _straightened(case.branch)
        lossy, tone, last = case.closures.wall_losses, case.closures.tone, self.sets - 3

        def at_mouth(own: FloatArray) -> FloatArray:
            return np.concatenate([np.zeros(designs), own * tone, own * tone, *[own] * last])

        self.mouth = at_mouth(answer.duct.mouth_inertance)
        self.grazed = at_mouth(answer.duct.grazed_inertance)
        self.crossing = np.tile(answer.duct.crossing_time, self.sets)
        self.lossy = np.concatenate([np.zeros(2 * designs, dtype=np.bool_), lossy, *[lossy] * last])
        self.tone = np.concatenate([np.ones(3 * designs), *[tone] * last])

    def duct(self, length: FloatArray) -> Duct:
        position = self.old * (length / self.length)[:, None]
        temperature = _row_by_row(position, self.old, self.gas)
        inertance, area = np.ones((2, len(position), position.shape[1] - 1))
        if self.sets == 5:
            some = slice(4 * len(self.straight), None)
            own = bore_ratios(self.straight.with_length(length[some]), position[some])
            inertance[some] = own[0]
            area[some] = 1.0 if own[1] is None else own[1]
        return discretisation.duct(
            position / self.tone[:, None],
            temperature,
            self.mixture,
            self.pressure,
            radius=self.radius,
            inertance_ratio=inertance,
            mouth_inertance=self.mouth,
            wall_losses=self.lossy,
            wall=_row_by_row(position, self.old, self.wall),
            dried=_row_by_row(position, self.old, self.dried),
            area_ratio=area if self.sets == 5 else None,
            grazed_inertance=self.grazed,
            crossing_time=self.crossing,
        )

    def lengths_for(self, frequency: FloatArray) -> FloatArray:
        """Lengths that resonate at a tone, (5, designs), m."""
        tone = np.tile(frequency, self.sets)
        length, slope = self.length, np.full(len(tone), np.nan)
        last = phase = np.full(len(tone), np.nan)
        for _ in range(MOST_EFFECT_STEPS):
            duct = self.duct(length)
            impedance = acoustics.input_impedance(duct, tone[:, None])[:, 0]
            # Zero at a resonance and nearly straight in the length: see resonance.py.
            own = duct.mouth_impedance
            seen: FloatArray = np.angle((own - impedance) / (own + impedance))
            # A cap that moves turns the phase by twice its distance in wavelengths.
            local = -4 * np.pi * tone * np.sqrt(duct.density[:, -1] / duct.bulk_modulus[:, -1])
            with np.errstate(divide="ignore", invalid="ignore"):
                secant = (seen - phase) / (length - last)
            # Behind a step of the bore a length counts by as much as the ratio of the sections.
            fair = (secant / local > 1 / MOST_LEVERAGE) & (secant / local < MOST_LEVERAGE)
            slope = np.where(fair, secant, local)
            last, phase = length, seen
            step = np.clip(-seen / slope, -0.3 * length, 0.3 * length)
            length = length + step
            if np.all(np.abs(step) < LENGTH_TOLERANCE * length):
                found = length.reshape(self.sets, -1)
                return np.concatenate([found[:4], found[-1:]])
        raise NotConvergedError(
            "The lengths without single effects did not converge.",
            designs=tuple(range(len(frequency))),
            residual=float(np.max(np.abs(phase))),
            iterations=MOST_EFFECT_STEPS,
        )


def _straightened(branch: Branch) -> Branch:
    """The same tubes without their bends."""
    pieces = tuple(
        tuple(Piece(piece.length, tube=piece.tube) for piece in own) for own in branch.pieces
    )
    return replace(branch, pieces=pieces)


def _row_by_row(wanted: FloatArray, known: FloatArray, values: FloatArray) -> FloatArray:
    """Linear interpolation along each row; beyond the ends, the values there."""
    result = np.empty_like(wanted)
    for i in range(len(wanted)):
        result[i] = np.interp(wanted[i], known[i], values[i])
    return result
