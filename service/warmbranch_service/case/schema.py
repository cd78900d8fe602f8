"""The case: everything that every route takes."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from warmbranch.case.closures import PULSATION_AUGMENTATION
from warmbranch.case.geometry import ROUNDING
from warmbranch.heat.main_pipe_gas import ENGINE_LOADS
from warmbranch_service.case.branch import (
    DEFAULT_SURFACE,
    EMISSIVITY_TEXT,
    ONE_SURFACE,
    SURFACE_TEXT,
    Branch,
    Emissivity,
    MainDiameter,
    MainWall,
    Surface,
    settle_surface,
)
from warmbranch_service.case.closures import Closures
from warmbranch_service.case.gas import BurntGas, Gas
from warmbranch_service.case.guessed import (
    GUESS_RULES,
    GUESSABLE,
    GUESSED_TEXT,
    Guessed,
    refuse_guesses,
)
from warmbranch_service.case.skin_reading import LEAST_EMISSIVITY, MainSkinReading
from warmbranch_service.case.surroundings import Surroundings
from warmbranch_service.contract.fields import OneOf, Quantity, RequestModel, Whole, refusal
from warmbranch_service.contract.rules import given, left_out, rules, together
from warmbranch_service.contract.units import (
    ANGLE,
    MASS_FLOW,
    PURE_NUMBER,
    ROTATION,
    TEMPERATURE,
    VOLUME,
)

MOST_MASS_FLOW_KG_H = 20000.0
"""Some 30 m/s of hot gas in the widest main pipe."""

LOADS = tuple(ENGINE_LOADS)
HOTTEST_GAS_DEGC = 1000.0

GasTemperature = Annotated[
    float | None, Quantity("degC", TEMPERATURE, low=-40, high=HOTTEST_GAS_DEGC, nullable=True)
]
MassFlow = Annotated[
    float | None, Quantity("kg/h", MASS_FLOW, low=0, high=MOST_MASS_FLOW_KG_H, nullable=True)
]

ASSUMED_GAS_SPEED_M_S = 20.0
"""Gas speed in the main pipe when the request says nothing that gives one."""

GAS_TEMPERATURES = ("gas_temperature_degC", "skin_reading", "engine_load")
ONE_GAS_TEMPERATURE = tuple(
    together(given(name), left_out(*(other for other in GAS_TEMPERATURES if other != name)))
    for name in GAS_TEMPERATURES
)
"""One of the three tells how hot the main gas is."""


LEAST_BORE_MM = 5.0
"""Of the main pipe: what the thinnest branch has at its thickest wall."""

MOST_SKIN_EXCESS = 400.0
"""K of a main pipe's skin above its gas. No steady pipe has any; one that has just carried hotter
gas may. Beyond 500 K the heat balance of the branch was seen not to converge."""


class MainPipe(RequestModel):
    """The pipe that the branch stands on, at the mouth."""

    model_config = rules(
        ONE_SURFACE,
        ONE_GAS_TEMPERATURE,
        unsaid={
            "skin_mirrors": f"The emissivity is {LEAST_EMISSIVITY:g} or more where an infrared "
            "skin_reading gives neither emissivity nor another surface.",
            "no_bore": "outside_diameter_mm less twice wall_thickness_mm is "
            f"{LEAST_BORE_MM:g} mm or more.",
            "skin_too_hot": f"skin_temperature_degC is at most {MOST_SKIN_EXCESS:g} K above "
            "gas_temperature_degC, where both are given.",
            "mass_flow_out_of_range": "mass_flow_kg_h of such gas goes through the pipe no faster "
            "than sound.",
        },
    )

    outside_diameter_mm: MainDiameter = Field(
        description="Outside diameter.", examples=[60.3, "2.375 in"]
    )
    wall_thickness_mm: MainWall = Field(description="Wall thickness.", examples=[1.5])
    gas_temperature_degC: GasTemperature = Field(
        default=None,
        description="Gas temperature at the mouth, running warm. Default null: give skin_reading "
        "or engine_load in its place.",
        examples=[310, "590 F"],
    )
    skin_reading: MainSkinReading | None = Field(
        default=None,
        description="A thermometer's reading of the main pipe's skin beside the mouth, from which "
        "the gas temperature is worked out, with its uncertainty. Default null.",
    )
    engine_load: Annotated[str | None, OneOf("engine load", LOADS, nullable=True)] = Field(
        default=None,
        description="What the engine does while it drones, where neither gas nor skin was "
        f"measured: {', '.join(LOADS)}. It gives a wide range of gas temperatures. Default null.",
        examples=["cruise"],
    )
    skin_temperature_degC: Annotated[
        float | None, Quantity("degC", TEMPERATURE, low=-40, high=1000, nullable=True)
    ] = Field(
        default=None,
        description="Skin temperature of the main pipe at the mouth. Default null: from the "
        "pipe's own heat balance.",
        examples=[210],
    )
    gas: Gas = Field(
        default=BurntGas(fuel="petrol"), description="What the gas is. Default burnt petrol."
    )
    mass_flow_kg_h: MassFlow = Field(
        default=None,
        description="Gas through the main pipe, slower than sound. Default null: from the "
        "engine's displacement_L, rpm and volumetric_efficiency, else from an assumed "
        f"{ASSUMED_GAS_SPEED_M_S:g} m/s.",
        examples=[95],
    )
    surface: Surface = Field(
        default=DEFAULT_SURFACE, description=SURFACE_TEXT, examples=[DEFAULT_SURFACE]
    )
    emissivity: Emissivity = Field(default=None, description=EMISSIVITY_TEXT, examples=[0.6])
    pulsation_augmentation: Annotated[float, Quantity("1", PURE_NUMBER, low=0.5, high=10)] = Field(
        default=PULSATION_AUGMENTATION.median,
        description="Inner film of the main pipe over that of steady flow, for its own heat "
        f"balance. Default {PULSATION_AUGMENTATION.median:g}; an engineering assumption, 95 % "
        f"between {PULSATION_AUGMENTATION.low:g} and {PULSATION_AUGMENTATION.high:g}.",
        examples=[1.6],
    )

    @property
    def bore_mm(self) -> float:
        """Inside diameter."""
        return self.outside_diameter_mm - 2 * self.wall_thickness_mm

    @model_validator(mode="after")
    def _leaves_a_bore(self) -> MainPipe:
        if self.bore_mm < LEAST_BORE_MM * (1 - ROUNDING):
            thickest = (self.outside_diameter_mm - LEAST_BORE_MM) / 2
            raise refusal(
                "no_bore",
                f"A wall of {self.wall_thickness_mm:g} mm leaves {max(self.bore_mm, 0):g} mm of "
                f"bore in {self.outside_diameter_mm:g} mm of tube.",
                f"Give a wall of at most {thickest:g} mm, or a larger outside diameter.",
                unit="mm",
                at=["wall_thickness_mm"],
                value=self.wall_thickness_mm,
            )
        return self

    @model_validator(mode="after")
    def _one_surface(self) -> MainPipe:
        settle_surface(self)
        return self

    @model_validator(mode="after")
    def _one_gas_temperature(self) -> MainPipe:
        given_ones = [name for name in GAS_TEMPERATURES if getattr(self, name) is not None]
        if not given_ones:
            raise refusal(
                "no_gas_temperature",
                "Nothing tells how hot the main gas is.",
                "Give gas_temperature_degC, or skin_reading, a thermometer's reading of the main "
                f"pipe beside the mouth, or engine_load: {', '.join(LOADS)}.",
                unit="degC",
                at=["gas_temperature_degC"],
            )
        if len(given_ones) > 1:
            raise refusal(
                "gas_temperature_given_twice",
                f"{' and '.join(given_ones)} are given together.",
                "Give one of gas_temperature_degC, skin_reading and engine_load.",
                unit="degC",
                at=[given_ones[1]],
            )
        return self

    @model_validator(mode="after")
    def _skin_of_this_gas(self) -> MainPipe:
        skin, gas = self.skin_temperature_degC, self.gas_temperature_degC
        if skin is not None and gas is not None and skin > gas + MOST_SKIN_EXCESS:
            raise refusal(
                "skin_too_hot",
                f"The main pipe's skin is {skin - gas:g} K hotter than its gas.",
                f"Give at most {gas + MOST_SKIN_EXCESS:g} °C, or null: then it is worked out.",
                unit="degC",
                at=["skin_temperature_degC"],
                value=skin,
            )
        return self

    @model_validator(mode="after")
    def _skin_can_be_read(self) -> MainPipe:
        if self.skin_reading is not None:
            self.skin_reading.refuse_mirror(self.emissivity)
        return self


class Engine(RequestModel):
    """The engine; leave it out for frequencies without rpm."""

    model_config = rules(
        unsaid={
            "angles_and_cylinders": "firing_angles_deg has one angle a cylinder.",
            "mass_flow_out_of_range": "displacement_L, rpm, volumetric_efficiency and pipe_share "
            "make no more gas than mass_flow_kg_h admits, and none faster than sound.",
        }
    )

    cylinders: Annotated[int, Whole(1, 24)] = Field(
        description="Cylinders that fire into this pipe.", examples=[4]
    )
    cycle: Literal["four-stroke", "two-stroke"] = Field(
        default="four-stroke", description="Default four-stroke."
    )
    order: Annotated[float | None, Quantity("1", PURE_NUMBER, low=0.5, high=48, nullable=True)] = (
        Field(
            default=None,
            description="Engine order to be quietened: cycles a turn of the crankshaft. Default "
            "null: the firing order.",
            examples=[2],
        )
    )
    displacement_L: Annotated[
        float | None, Quantity("L", VOLUME, low=0.02, high=500, nullable=True)
    ] = Field(
        default=None,
        description="Of the whole engine, for the mass flow. Default null.",
        examples=[2.0, "1998 cc"],
    )
    rpm: Annotated[float | None, Quantity("rpm", ROTATION, low=50, high=30000, nullable=True)] = (
        Field(
            default=None,
            description="Engine speed of this case, for the mass flow. Default null.",
            examples=[2350],
        )
    )
    volumetric_efficiency: Annotated[
        float | None, Quantity("1", PURE_NUMBER, low=0.02, high=4, nullable=True)
    ] = Field(
        default=None,
        description="Air drawn over displacement × ambient density; low at part throttle, above "
        "1 with a charger. Default null.",
        examples=[0.6],
    )
    pipe_share: Annotated[float, Quantity("1", PURE_NUMBER, above=0, high=1)] = Field(
        default=1.0,
        description="Share of the engine's gas that goes through this pipe. Default 1.",
        examples=[1, 0.5],
    )
    firing_angles_deg: (
        Annotated[
            list[Annotated[float, Quantity("deg", ANGLE, low=0, high=720)]],
            Field(min_length=1, max_length=24),
        ]
        | None
    ) = Field(
        default=None,
        description="Crank angles at which the cylinders of this pipe fire, for a pipe fed "
        "unevenly. Default null: evenly spaced.",
        examples=[[0, 180, 270, 450]],
        json_schema_extra={"x-unit": "deg"},
    )

    @model_validator(mode="after")
    def _one_angle_a_cylinder(self) -> Engine:
        angles = self.firing_angles_deg
        if angles is not None and len(angles) != self.cylinders:
            raise refusal(
                "angles_and_cylinders",
                f"{len(angles)} firing angles are given for {self.cylinders} cylinders.",
                "Give one angle a cylinder that fires into this pipe, or null.",
                unit="deg",
                at=["firing_angles_deg"],
                value=len(angles),
            )
        return self


class Case(RequestModel):
    """Branch, main pipe, surroundings, engine and closures.

    ``branch``, the sizes of ``main_pipe`` and its gas temperature, or what it is worked out from,
    are all that must be given.
    """

    model_config = rules(
        unsaid={
            "shield_too_narrow": "surroundings.shield.diameter_mm is at least the branch's outside "
            "diameter, its wrap included.",
            **GUESS_RULES,
        }
    )

    branch: Branch = Field(description="The closed side branch.")
    main_pipe: MainPipe = Field(description="The pipe that the branch stands on.")
    surroundings: Surroundings = Field(
        default=Surroundings(), description="Air and surfaces around the branch."
    )
    engine: Engine | None = Field(
        default=None, description="The engine. Default null: frequencies and no rpm."
    )
    closures: Closures = Field(
        default=Closures(), description="The uncertain parts of the model, each replaceable."
    )
    guessed: Annotated[list[Guessed], Field(max_length=len(GUESSABLE))] = Field(
        default=[],
        description=GUESSED_TEXT,
        examples=[
            [
                "main_pipe.mass_flow_kg_h",
                {"field": "main_pipe.gas_temperature_degC", "standard_deviation": 40},
            ]
        ],
    )

    @model_validator(mode="after")
    def _shield_holds_the_branch(self) -> Case:
        shield, least = self.surroundings.shield, self.branch.skin_diameter_mm
        if shield is not None and shield.diameter_mm < least:
            raise refusal(
                "shield_too_narrow",
                f"A shield of {shield.diameter_mm:g} mm does not go round {least:g} mm of branch.",
                f"Give at least {least:g} mm.",
                unit="mm",
                at=["surroundings", "shield", "diameter_mm"],
                value=shield.diameter_mm,
            )
        return self

    @model_validator(mode="after")
    def _guesses_fit(self) -> Case:
        refuse_guesses(self, self.guessed)
        return self
