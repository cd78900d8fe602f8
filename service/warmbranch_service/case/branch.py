"""The branch in a request: tube, centre-line, metal, surface, wrap."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from warmbranch.case.geometry import ROUNDING, SHORTEST_IN_BORES
from warmbranch.case.materials import METALS
from warmbranch.case.surfaces import SURFACES
from warmbranch.warming.storage import WRAP_DENSITY, WRAP_HEAT_CAPACITY
from warmbranch_service.contract.fields import OneOf, Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import given, left_out, rules, together, where
from warmbranch_service.contract.units import (
    ANGLE,
    CONDUCTIVITY,
    DENSITY,
    HEAT_CAPACITY,
    LENGTH,
    PURE_NUMBER,
)

LONGEST_MM = 6000.0
DEFAULT_MATERIAL = "stainless 304"
DEFAULT_SURFACE = "weathered stainless"
WRAP_SURFACE = "fibre wrap"

OutsideDiameter = Annotated[float, Quantity("mm", LENGTH, low=15, high=150)]
WallThickness = Annotated[float, Quantity("mm", LENGTH, low=0.5, high=5)]
MainDiameter = Annotated[float, Quantity("mm", LENGTH, low=15, high=600)]
MainWall = Annotated[float, Quantity("mm", LENGTH, low=0.5, high=12)]
Along = Annotated[float, Quantity("mm", LENGTH, low=0.001, high=LONGEST_MM)]
Emissivity = Annotated[float | None, Quantity("1", PURE_NUMBER, low=0, high=1, nullable=True)]
Surface = Annotated[str | None, OneOf("surface", SURFACES, nullable=True)]

SURFACE_TEXT = (
    f"Name of the outer surface, which sets the emissivity; see GET /v1/reference. "
    f"{DEFAULT_SURFACE!r} when neither this nor emissivity is given. Give one of the two."
)
EMISSIVITY_TEXT = (
    "Total hemispherical emissivity of the outermost surface, in place of a surface's name. "
    "0 switches radiation off."
)


ONE_SURFACE = (
    together(given("emissivity"), left_out("surface")),
    together(left_out("emissivity"), where(surface={"type": "string"})),
)
"""Schema of: the name of a surface, by default or given, or else an emissivity."""


OwnDiameter = Annotated[float | None, Quantity("mm", LENGTH, low=15, high=150, nullable=True)]
OwnWall = Annotated[float | None, Quantity("mm", LENGTH, low=0.5, high=5, nullable=True)]


class _OfTube(RequestModel):
    """A piece that may be of a tube of its own."""

    outside_diameter_mm: OwnDiameter = Field(
        default=None,
        description="Outside diameter of this piece's tube, where it is a stub or a sleeve of "
        "another size. Default null: the branch's.",
        examples=[42.4],
    )
    wall_thickness_mm: OwnWall = Field(
        default=None,
        description="Wall thickness of this piece's tube. Default null: the branch's.",
        examples=[1.5],
    )


class Straight(_OfTube):
    """A straight stretch of the centre-line."""

    straight_mm: Along = Field(description="Length.", examples=[180])


class Bend(_OfTube):
    """A bend of constant radius."""

    bend_deg: Annotated[float, Quantity("deg", ANGLE, low=0.001, high=720)] = Field(
        description="Angle turned through.", examples=[90]
    )
    bend_radius_mm: Annotated[float, Quantity("mm", LENGTH, above=0, high=LONGEST_MM)] = Field(
        description="Radius of the centre-line; more than half the outside diameter.",
        examples=[72],
    )
    twist_deg: Annotated[float, Quantity("deg", ANGLE, low=-360, high=360)] = Field(
        default=0.0,
        description="Turn of the bend's plane about the tube against the bend before it. "
        "For cutting and drawing; it does not change the answer. Default 0.",
        examples=[0],
    )

    @property
    def along_mm(self) -> float:
        """Length along the centre-line."""
        return math.radians(self.bend_deg) * self.bend_radius_mm


def _piece_kind(value: Any) -> str | None:
    if isinstance(value, Straight) or (isinstance(value, dict) and "straight_mm" in value):
        return "straight"
    if isinstance(value, Bend) or (
        isinstance(value, dict) and ("bend_deg" in value or "bend_radius_mm" in value)
    ):
        return "bend"
    return None


Piece = Annotated[
    Annotated[Straight, Tag("straight")] | Annotated[Bend, Tag("bend")],
    Discriminator(
        _piece_kind,
        custom_error_type="no_piece",
        custom_error_message="This is neither a straight nor a bend.",
    ),
]


class MaterialProperties(RequestModel):
    """A metal whose properties do not change with temperature."""

    conductivity_W_mK: Annotated[float, Quantity("W/mK", CONDUCTIVITY, low=1, high=500)] = Field(
        description="Thermal conductivity.", examples=[16]
    )
    density_kg_m3: Annotated[float, Quantity("kg/m3", DENSITY, low=1000, high=25000)] = Field(
        description="Density.", examples=[7900]
    )
    heat_capacity_J_kgK: Annotated[float, Quantity("J/kgK", HEAT_CAPACITY, low=50, high=2000)] = (
        Field(description="Specific heat capacity.", examples=[500])
    )


def _material_kind(value: Any) -> Literal["name", "properties"]:
    return "properties" if isinstance(value, (dict, MaterialProperties)) else "name"


Material = Annotated[
    Annotated[str, OneOf("material", METALS), Tag("name")]
    | Annotated[MaterialProperties, Tag("properties")],
    Discriminator(_material_kind),
]


class Wrap(RequestModel):
    """Insulation round the branch and over its cap."""

    thickness_mm: Annotated[float, Quantity("mm", LENGTH, low=0, high=50)] = Field(
        description="Thickness as fitted; 0, or less than 0.001, leaves the tube bare.",
        examples=[6],
    )
    conductivity_W_mK: Annotated[float, Quantity("W/mK", CONDUCTIVITY, low=0.02, high=1)] = Field(
        description="Thermal conductivity as fitted.", examples=[0.09]
    )
    density_kg_m3: Annotated[float, Quantity("kg/m3", DENSITY, low=1, high=3000)] = Field(
        default=WRAP_DENSITY,
        description="Density as fitted, for warm-ups. Default "
        f"{WRAP_DENSITY:g}: an assumption, between loose blankets (100) and tight tape (900).",
        examples=[500],
    )
    heat_capacity_J_kgK: Annotated[float, Quantity("J/kgK", HEAT_CAPACITY, low=50, high=2000)] = (
        Field(
            default=WRAP_HEAT_CAPACITY,
            description=f"Heat capacity, for warm-ups. Default {WRAP_HEAT_CAPACITY:g}: glass and "
            "basalt fibre, from memory.",
            examples=[800],
        )
    )


class Branch(RequestModel):
    """The closed side branch."""

    model_config = rules(
        (
            together(given("centreline"), left_out("length_mm")),
            together(given("length_mm"), left_out("centreline")),
        ),
        ONE_SURFACE,
        unsaid={
            "length_out_of_range": f"The centre-line is {SHORTEST_IN_BORES:g} bores to "
            f"{LONGEST_MM:g} mm long in all.",
            "bend_too_tight": "bend_radius_mm is above half of the outside diameter of its tube.",
        },
    )

    outside_diameter_mm: OutsideDiameter = Field(
        description="Outside diameter of the tube.", examples=[48.3, "1.9 in"]
    )
    wall_thickness_mm: WallThickness = Field(
        description="Wall thickness of the tube.", examples=[1.5, "0.065 in"]
    )
    material: Material = Field(
        default=DEFAULT_MATERIAL,
        description="Name of a metal from GET /v1/reference, or its properties. "
        f"Default {DEFAULT_MATERIAL!r}.",
        examples=[DEFAULT_MATERIAL],
    )
    centreline: Annotated[list[Piece], Field(min_length=1, max_length=100)] | None = Field(
        default=None,
        description="The centre-line from the main pipe's inner wall to the cap's inner face, "
        f"piece by piece; 3 bores to {LONGEST_MM:g} mm in all. Give this or length_mm.",
        examples=[[{"straight_mm": 180}, {"bend_deg": 90, "bend_radius_mm": 72}]],
    )
    length_mm: Annotated[
        float | None, Quantity("mm", LENGTH, above=0, high=LONGEST_MM, nullable=True)
    ] = Field(
        default=None,
        description="Length of the centre-line of a straight branch, in place of centreline.",
        examples=[800],
    )
    surface: Surface = Field(
        default=DEFAULT_SURFACE,
        description=f"{SURFACE_TEXT} Under a wrap, the default is {WRAP_SURFACE!r}.",
        examples=[DEFAULT_SURFACE],
    )
    emissivity: Emissivity = Field(default=None, description=EMISSIVITY_TEXT, examples=[0.6])
    cap_thickness_mm: Annotated[
        float | None, Quantity("mm", LENGTH, low=0.3, high=20, nullable=True)
    ] = Field(
        default=None,
        description="Thickness of the cap plate. Default null: as thick as the wall.",
        examples=[2.0],
    )
    wrap: Wrap | None = Field(
        default=None, description="Insulation over the branch. Default null: bare."
    )
    rise_deg: Annotated[float, Quantity("deg", ANGLE, low=-90, high=90)] = Field(
        default=0.0,
        description="Angle by which the branch climbs from mouth to cap; negative when it falls. "
        "Default 0, level.",
        examples=[0, 90],
    )
    mouth_angle_deg: Annotated[float, Quantity("deg", ANGLE, low=30, high=150)] = Field(
        default=90.0,
        description="Angle between the branch and the main pipe's flow at the mouth: 90 square, "
        "less where the branch leans downstream. It does not change the answer, but widens its "
        "interval and calls a caution: little is known of it. Default 90.",
        examples=[90, 45],
    )

    def tube_of(self, piece: Straight | Bend) -> tuple[float, float] | None:
        """Outside diameter and wall of a piece, mm, where they are not the branch's."""
        outside, wall = piece.outside_diameter_mm, piece.wall_thickness_mm
        if outside is None and wall is None:
            return None
        return (
            self.outside_diameter_mm if outside is None else outside,
            self.wall_thickness_mm if wall is None else wall,
        )

    @property
    def bore_mm(self) -> float:
        """Inside diameter at the mouth."""
        own = None if self.centreline is None else self.tube_of(self.centreline[0])
        outside, wall = own or (self.outside_diameter_mm, self.wall_thickness_mm)
        return outside - 2 * wall

    @property
    def skin_diameter_mm(self) -> float:
        """Outside diameter, over the wrap."""
        return self.outside_diameter_mm + (0.0 if self.wrap is None else 2 * self.wrap.thickness_mm)

    @property
    def centreline_mm(self) -> float:
        """Length along the centre-line."""
        if self.centreline is None:
            return self.length_mm or 0.0
        return math.fsum(
            piece.straight_mm if isinstance(piece, Straight) else piece.along_mm
            for piece in self.centreline
        )

    @model_validator(mode="after")
    def _one_surface(self) -> Branch:
        wrapped = self.wrap is not None and self.wrap.thickness_mm > 0
        if wrapped and self.emissivity is None and "surface" not in self.model_fields_set:
            object.__setattr__(self, "surface", WRAP_SURFACE)
        settle_surface(self)
        return self

    @model_validator(mode="after")
    def _one_length(self) -> Branch:
        if (self.centreline is None) == (self.length_mm is None):
            both = self.centreline is not None
            raise refusal(
                "length_given_twice" if both else "no_length",
                f"The branch's length is given {'twice' if both else 'nowhere'}.",
                "Give either centreline, piece by piece, or length_mm.",
                unit="mm",
                at=["length_mm"],
                value=self.length_mm,
            )
        self._refuse_tight_bends()
        shortest = SHORTEST_IN_BORES * self.bore_mm
        along = self.centreline_mm
        if not shortest * (1 - ROUNDING) <= along <= LONGEST_MM * (1 + ROUNDING):
            raise refusal(
                "length_out_of_range",
                f"The centre-line is {along:.6g} mm long; the model holds from three bores "
                f"({shortest:.6g} mm) to {LONGEST_MM:g} mm.",
                f"Give a length from {shortest:.6g} to {LONGEST_MM:g} mm.",
                unit="mm",
                at=["length_mm" if self.centreline is None else "centreline"],
                value=along,
            )
        return self

    def _refuse_tight_bends(self) -> None:
        for place, piece in enumerate(self.centreline or []):
            tightest = (piece.outside_diameter_mm or self.outside_diameter_mm) / 2
            if isinstance(piece, Bend) and piece.bend_radius_mm <= tightest:
                raise refusal(
                    "bend_too_tight",
                    f"A bend of {piece.bend_radius_mm:g} mm is tighter than the tube, whose "
                    f"inner side would fold below {tightest:g} mm.",
                    f"Give a centre-line radius above {tightest:g} mm, half the outside diameter.",
                    unit="mm",
                    at=["centreline", place, "bend_radius_mm"],
                    value=piece.bend_radius_mm,
                )


def settle_surface(part: Any) -> None:
    """Let an emissivity stand for the surface; refuse both together.

    Parameters
    ----------
    part : model with the fields ``surface`` and ``emissivity``
    """
    if part.emissivity is not None and "surface" not in part.model_fields_set:
        object.__setattr__(part, "surface", None)  # so that what is sent back can be sent again
    if (part.surface is None) == (part.emissivity is None):
        both = part.surface is not None
        raise refusal(
            "surface_given_twice" if both else "no_surface",
            "Surface and emissivity are both given."
            if both
            else "Neither a surface nor an emissivity is left.",
            "Give the name of a surface or an emissivity, not both.",
            unit="1",
            at=["emissivity"],
            value=part.emissivity,
        )
