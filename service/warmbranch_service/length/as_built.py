"""The branch as built: cut list, outline, masses, foldings."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from warmbranch.case.geometry import Branch, Piece, Tube
from warmbranch.length.cut_list import (
    CutPiece,
    Stock,
    cap_mass,
    cut_pieces,
    saddle_depth,
    stock,
    tube_mass,
)
from warmbranch.length.folding import Fold, Run, Stack, TubeToFold, folds, serpentine
from warmbranch.length.length_for_tone import LONGEST, Sized, ToneOutcome, length_for
from warmbranch.length.outline import Envelope, Outline, Pipework, Space, outline
from warmbranch_service.case.branch import Bend, Straight
from warmbranch_service.case.convert import MM
from warmbranch_service.case.convert_batch import piece_of
from warmbranch_service.contract.errors import INVALID, Entry, Problem
from warmbranch_service.contract.rounding import digits, places
from warmbranch_service.length.options import BEND_IN_DIAMETERS
from warmbranch_service.length.parts import (
    CutList,
    Drawing,
    EnvelopeAnswer,
    FoldProposal,
    OutlineAnswer,
)
from warmbranch_service.length.request import LengthRequest
from warmbranch_service.length.svg import MainPipeSection, plan_and_side


@dataclass(frozen=True)
class AsBuilt:
    """The branch as built, in SI.

    Parameters
    ----------
    request : LengthRequest
    sized : Sized
        One design at its right length.
    build : float, m
        Length to build.
    pipework : Pipework
        As built.
    outline : Outline
        As built.
    space : Space or None
    """

    request: LengthRequest
    sized: Sized
    build: float
    pipework: Pipework
    outline: Outline
    space: Space | None

    @classmethod
    def of(cls, request: LengthRequest, sized: Sized, build: float) -> AsBuilt:
        """Lay out the branch at the length to build."""
        branch = sized.answer.case.branch
        given = Pipework(_given_pieces(request, branch), _given_twists(request))
        pieces = replace(branch, pieces=(given.pieces,)).with_length(np.array([build])).pieces[0]
        pipework = given.resized(pieces)
        laid = outline(
            pipework,
            float(branch.rise[0]),
            float(branch.outside_diameter[0]),
            float(branch.cap_thickness[0]),
            float(branch.lean[0]),
        )
        sides = request.space_mm
        space = None if sides is None else Space(*(side * MM for side in sides))
        return cls(request, sized, build, pipework, laid, space)

    @property
    def right(self) -> float:
        """Right length, m."""
        return float(self.sized.length[0])

    @property
    def branch(self) -> Branch:
        """The tube."""
        return self.sized.answer.case.branch

    @property
    def main_pipe(self) -> MainPipeSection:
        """What it stands on."""
        pipe = self.sized.answer.case.main_pipe
        return MainPipeSection(float(pipe.outside_diameter[0]), float(pipe.wall_thickness[0]))

    @property
    def saddle(self) -> float:
        """Depth of the saddle, m; NaN where the branch is wider than the main pipe."""
        outside, pipe = float(self.branch.outside_at_mouth[0]), self.main_pipe.outside_diameter
        return saddle_depth(outside, pipe, self.lean)

    @property
    def lean(self) -> float:
        """From square to the main pipe, rad."""
        return float(self.branch.lean[0])

    @property
    def fits(self) -> bool | None:
        """Whether it fits the space; None where none is given."""
        return None if self.space is None else self.space.holds(self.outline.envelope)

    @property
    def ends_in_a_bend(self) -> bool:
        """Whether the right length falls within a bend, where no cap can sit square."""
        return any(piece.is_bend and piece.start < self.right < piece.end for piece in self.cuts)

    @property
    def cuts(self) -> list[CutPiece]:
        """Pieces as built."""
        own = float(self.branch.outside_diameter[0])
        return cut_pieces(self.pipework.pieces, own)

    @property
    def bends_lost(self) -> bool:
        """Whether bends that were given lie beyond the branch as built."""
        given = sum(isinstance(p, Bend) for p in self.request.case.branch.centreline or [])
        return self.pipework.bends < given

    @property
    def masses(self) -> tuple[float, float]:
        """Of tube and of cap, kg."""
        branch, metal = self.branch, self.sized.answer.case.metal
        density = float(metal.density[0])
        at_cap = _tube(branch, self.pipework.pieces[-1]).outside_diameter
        cap = cap_mass(at_cap, float(branch.cap_thickness[0]), density)
        tube = math.fsum(
            tube_mass(piece.length, _tube(branch, piece).wall_section, density)
            for piece in self.pipework.pieces
        )
        return tube, cap

    def tube_length(self, cut: CutPiece) -> float:
        """Tube to cut for a piece, m; the first begins at the main pipe's outside, saddled."""
        if cut.start > 0:
            return cut.piece.length
        saddle = 0.0 if math.isnan(self.saddle) else self.saddle
        return cut.piece.length - self.main_pipe.wall_thickness / math.cos(self.lean) + saddle

    def stock(self) -> Stock:
        """Straight tube to buy."""
        given = self.request.cutting
        own = _tube(self.branch, Piece(1.0))
        lengths = (
            self.tube_length(cut)
            for cut in self.cuts
            if not cut.is_bend and cut.piece.tube in (None, own)
        )
        # One that would end within the main pipe's wall is none to buy.
        straights = [length for length in lengths if length > 0]
        longest = max(straights, default=0.0)
        if longest > given.bar_mm * MM:
            entry = Entry(
                ("cutting", "bar_mm"),
                "bar_too_short",
                f"A straight of {longest / MM:.1f} mm is longer than a bar.",
                f"Give a bar of at least {math.ceil(longest / MM)} mm.",
                given.bar_mm,
                "mm",
            )
            raise Problem(INVALID, entry.sentence(), entries=[entry])
        return stock(straights, given.kerf_mm * MM, given.bar_mm * MM)

    def cut_list(self) -> list[CutList]:
        """The pieces as they leave."""
        return [
            CutList(
                piece=number,
                kind="bend" if cut.is_bend else "straight",
                from_mm=places(cut.start / MM, 1),
                to_mm=places(cut.end / MM, 1),
                centreline_mm=places(cut.piece.length / MM, 1),
                inside_mm=places(cut.inside / MM, 1),
                outside_mm=places(cut.outside / MM, 1),
                bend_deg=places(math.degrees(cut.angle), 2) if cut.is_bend else None,
                bend_radius_mm=places(cut.piece.bend_radius / MM, 2) if cut.is_bend else None,
                twist_deg=places(math.degrees(twist), 2) if cut.is_bend else None,
                tube_mm=places(self.tube_length(cut) / MM, 1),
                takes_the_length=cut.takes_length,
                instruction=self._instruction(number, cut, twist),
                outside_diameter_mm=places(_outside(self.branch, cut.piece) / MM, 2),
                wall_thickness_mm=places(_tube(self.branch, cut.piece).wall_thickness / MM, 2),
            )
            for number, (cut, twist) in enumerate(
                zip(self.cuts, self.pipework.twists, strict=True), start=1
            )
        ]

    def _instruction(self, number: int, cut: CutPiece, twist: float) -> str:
        words: list[str] = []
        if cut.is_bend:
            text = (
                f"Bend {math.degrees(cut.angle):.4g}° on a centre-line radius of "
                f"{cut.piece.bend_radius / MM:.4g} mm"
            )
            if twist and number > 1:
                text += f", its plane turned {math.degrees(twist):.4g}° against the bend before"
            words.append(f"{text}. Measure on the centre-line.")
        else:
            words.append(f"Cut {self.tube_length(cut) / MM:.1f} mm of straight tube.")
        own = cut.piece.tube
        if own is not None and own != _tube(self.branch, Piece(1.0)):
            words.append(
                f"Its tube is {own.outside_diameter / MM:.4g} mm outside with a wall of "
                f"{own.wall_thickness / MM:.3g} mm; close the step to the next gas-tight."
            )
        if number == 1 and not math.isnan(self.saddle):
            words.append(
                f"Cope its begin to the main pipe{self._leaning()}, {self.saddle / MM:.1f} mm "
                "deep; lengths count from the main pipe's inner wall."
            )
        if cut.takes_length:
            mark = (self.right - cut.start) / MM
            over = (self.build - self.right) / MM
            if mark > 0:
                words.append(
                    f"This piece takes the length: mark {mark:.1f} mm from its begin, where the "
                    f"right length ends, and leave {over:.1f} mm beyond for trimming."
                )
            else:
                words.append("All of this piece is for trimming.")
        return " ".join(words)

    def _leaning(self) -> str:
        return f" at {90 - math.degrees(abs(self.lean)):.4g}°" if self.lean else ""

    def outline_answer(self) -> OutlineAnswer:
        """Envelope, drawings, masses and stock as they leave."""
        tube, cap = self.masses
        bought = self.stock()
        return OutlineAnswer(
            envelope=_envelope(self.outline.envelope),
            fits=self.fits,
            crosses_itself=self.outline.crosses_itself,
            drawing=self._drawing(self.outline),
            saddle_mm=None if math.isnan(self.saddle) else places(self.saddle / MM, 1),
            tube_mass_kg=digits(tube, 3),
            cap_mass_kg=digits(cap, 3),
            straight_tube_mm=places(bought.length / MM, 1),
            bars=bought.bars,
            bends=self.pipework.bends,
        )

    def _drawing(self, laid: Outline) -> Drawing:
        plan, side = plan_and_side(laid, self.main_pipe, self.space)
        return Drawing(plan_svg=plan, side_svg=side)

    def folds(self) -> list[FoldProposal]:
        """Foldings into the space, each at its own right length; none where it fits as it is."""
        if self.space is None or self.fits or self.branch.stepped.any():
            return []
        tube, spare = self._fold_tube(), self.build - self.right
        drafts = folds(tube, self.build, self.space)
        if not drafts:
            return []
        case = self.sized.answer.case.repeat(len(drafts))
        pieces = tuple(draft.pipework.pieces for draft in drafts)
        batch = replace(case, branch=replace(case.branch, pieces=pieces))
        sized = length_for(batch, np.full(len(drafts), self.sized.frequency[0]))
        proposals: list[FoldProposal] = []
        for draft, length, outcome in zip(drafts, sized.length, sized.outcome, strict=True):
            build = float(length) + spare
            pipework = _refolded(tube, draft, build)
            if outcome != ToneOutcome.FOUND or pipework is None:
                continue
            laid = outline(pipework, 0.0, tube.outside_diameter, tube.cap_thickness)
            # Bends make the branch a little longer: it must still fit.
            if not self.space.holds(laid.envelope):
                continue
            proposals.append(
                FoldProposal(
                    description=_described(draft),
                    centreline=_written(pipework),
                    centreline_length_mm=places(float(length) / MM, 1),
                    build_length_mm=places(build / MM, 1),
                    envelope=_envelope(laid.envelope),
                    drawing=self._drawing(laid),
                )
            )
        return proposals

    def _fold_tube(self) -> TubeToFold:
        outside = float(self.branch.outside_diameter[0])
        given = self.request.cutting.bend_radius_mm
        return TubeToFold(
            outside_diameter=outside,
            cap_thickness=float(self.branch.cap_thickness[0]),
            bend_radius=BEND_IN_DIAMETERS * outside if given is None else given * MM,
            main_wall=self.main_pipe.wall_thickness,
        )


def _tube(branch: Branch, piece: Piece) -> Tube:
    """What a piece is made of."""
    own = Tube(float(branch.outside_diameter[0]), float(branch.wall_thickness[0]))
    return piece.tube or own


def _outside(branch: Branch, piece: Piece) -> float:
    return _tube(branch, piece).outside_diameter


def _given_pieces(request: LengthRequest, branch: Branch) -> tuple[Piece, ...]:
    """The centre-line as given, before it was cut to any length."""
    given = request.case.branch.centreline
    if given is None:
        return branch.pieces[0]
    tube_of = request.case.branch.tube_of
    return tuple(
        piece_of(tube_of(piece), piece.straight_mm)
        if isinstance(piece, Straight)
        else piece_of(tube_of(piece), piece.bend_deg, piece.bend_radius_mm)
        for piece in given
    )


def _given_twists(request: LengthRequest) -> tuple[float, ...]:
    given = request.case.branch.centreline
    if given is None:
        return (0.0,)
    return tuple(
        math.radians(piece.twist_deg) if isinstance(piece, Bend) else 0.0 for piece in given
    )


def _envelope(found: Envelope) -> EnvelopeAnswer:
    return EnvelopeAnswer(
        width_mm=places(found.width / MM, 1),
        depth_mm=places(found.depth / MM, 1),
        height_mm=places(found.height / MM, 1),
    )


def _refolded(tube: TubeToFold, draft: Fold, length: float) -> Pipework | None:
    if length > LONGEST:
        return None
    if draft.passes == 0:
        return Pipework((Piece(length),), (0.0,))
    return serpentine(tube, length, draft.passes, draft.run, draft.stack)


def _described(fold: Fold) -> str:
    if fold.passes == 0:
        return "Straight out from the main pipe."
    way = "along the main pipe" if fold.run is Run.ALONG else "upward"
    if fold.passes == 1:
        return f"A stub and an elbow, then one straight {way}."
    joined = "a U-bend" if fold.passes == 2 else f"{fold.passes - 1} U-bends"
    lying = (
        "one behind the other, seen from the main pipe"
        if fold.stack is Stack.AWAY
        else "side by side at one distance from the main pipe"
    )
    return (
        f"A stub and an elbow, then {fold.passes} passes {way}, joined by {joined}, lying {lying}."
    )


def _written(pipework: Pipework) -> list[Straight | Bend]:
    """Rounded so that their sum is that of the centre-line within a tenth of a millimetre."""
    return [
        Straight(straight_mm=places(piece.length / MM, 2))
        if math.isinf(piece.bend_radius)
        else Bend(
            bend_deg=places(math.degrees(piece.length / piece.bend_radius), 3),
            bend_radius_mm=places(piece.bend_radius / MM, 2),
            twist_deg=places(math.degrees(twist), 2),
        )
        for piece, twist in zip(pipework.pieces, pipework.twists, strict=True)
    ]
