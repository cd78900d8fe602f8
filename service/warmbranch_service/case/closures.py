"""The closures in a request: each a model with its coefficients, or a fixed number."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from warmbranch.case.closures import (
    BUOYANCY,
    CAP_PRESSURE,
    FLOW_LOSS,
    FLOWING_NUSSELT,
    LEVEL_LOSS,
    MOUTH_EXCHANGE,
    MOUTH_FACTOR,
    OUTER_FILM_FACTOR,
    REACH,
    STANTON,
    STILL_NUSSELT,
    STIRRED_FILM,
    STIRRING,
    TONE_EXCHANGE,
    Prior,
)
from warmbranch_service.case.calibration import Calibration
from warmbranch_service.contract.fields import Quantity, RequestModel
from warmbranch_service.contract.rules import rules
from warmbranch_service.contract.units import (
    DIFFUSIVITY,
    FILM_COEFFICIENT,
    LENGTH,
    PRESSURE,
    PURE_NUMBER,
)


def _assumed(prior: Prior, text: str) -> str:
    return (
        f"{text} Default {prior.median:g}; an engineering assumption, 95 % between "
        f"{prior.low:g} and {prior.high:g}."
    )


def _simulated(prior: Prior, text: str) -> str:
    return (
        f"{text} Default {prior.median:g}, 95 % between {prior.low:g} and {prior.high:g}: from our "
        "own simulation, not from a measurement."
    )


FilmCoefficient = Annotated[float, Quantity("W/m2K", FILM_COEFFICIENT, low=0.1, high=1000)]
Factor = Annotated[float, Quantity("1", PURE_NUMBER, low=0.05, high=20)]


class StirredMouth(RequestModel):
    """Mixing by the main flow at the mouth, by pulsation and by buoyancy."""

    model_config = rules(
        unsaid={
            "refused_by_physics": "incident_pressure_Pa moves the gas at the mouth no faster than "
            "sound."
        }
    )

    model: Literal["stirred mouth"] = Field(description="This model.")
    mouth_exchange_coefficient: Annotated[
        float | None, Quantity("1", PURE_NUMBER, low=0.001, high=1, nullable=True)
    ] = Field(
        default=MOUTH_EXCHANGE.median,
        description=_simulated(
            MOUTH_EXCHANGE,
            "Speed at which gas is exchanged through the mouth, over main-pipe speed, without a "
            "tone: the gas just inside is colder than the main pipe's. Null: the mouth does not "
            "resist.",
        ),
        examples=[0.03],
    )
    tone_exchange_coefficient: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=3)] = Field(
        default=TONE_EXCHANGE.median,
        description=_simulated(
            TONE_EXCHANGE,
            "What the tone adds to that speed, over the speed at which it moves the gas to and fro "
            "at the mouth.",
        ),
        examples=[0.36],
    )
    cap_pressure_Pa: Annotated[
        float | None, Quantity("Pa", PRESSURE, low=0, high=20000, nullable=True)
    ] = Field(
        default=None,
        description="Amplitude of the tone at the cap, running, which tells how fast it moves the "
        "gas at the mouth. Not looked at where incident_pressure_Pa is given. Default null: "
        f"{CAP_PRESSURE.median:g}, 95 % between {CAP_PRESSURE.low:g} and {CAP_PRESSURE.high:g}, a "
        "judgement without a source.",
        examples=[1000],
    )
    stirring_coefficient: Annotated[
        float | None, Quantity("1", PURE_NUMBER, low=0, high=5, nullable=True)
    ] = Field(
        default=None,
        description="Strength of the stirring at the mouth, over main-pipe speed × bore. Default "
        f"null: such that two bores in it is {STIRRING.median:g}, 95 % between {STIRRING.low:g} "
        f"and {STIRRING.high:g}, from our own simulation, not from a measurement; with the "
        "default reach 0.29 at the mouth.",
        examples=[0.15],
    )
    reach_bores: Annotated[float, Quantity("1", PURE_NUMBER, low=0.3, high=200)] = Field(
        default=REACH.median,
        description=_simulated(REACH, "Reach of the stirring into the branch, in bores."),
        examples=[0.75],
    )
    pulsation_coefficient: Annotated[
        float | None, Quantity("1", PURE_NUMBER, low=0, high=5, nullable=True)
    ] = Field(
        default=None,
        description="Strength of the mixing by pulsation, over ω ξ²; needs a pressure below. "
        "Default null: that of laminar layers at the wall, some 0.01.",
        examples=[0.01],
    )
    incident_pressure_Pa: Annotated[float, Quantity("Pa", PRESSURE, low=0, high=20000)] = Field(
        default=0.0,
        description="Amplitude of the firing tone that arrives at the mouth, from which the gas's "
        "motion along the branch is worked out. Default 0: cap_pressure_Pa tells.",
        examples=[0, 2000],
    )
    buoyancy_factor: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=20)] = Field(
        default=BUOYANCY.median,
        description=_simulated(BUOYANCY, "Multiplies the buoyant counterflow; 0 leaves it out."),
        examples=[1],
    )


class FixedMixing(RequestModel):
    """One diffusivity all along the branch, whose mouth does not resist."""

    model: Literal["fixed"] = Field(description="A number of one's own.")
    diffusivity_m2_s: Annotated[float, Quantity("m2/s", DIFFUSIVITY, low=0, high=1)] = Field(
        description="Axial diffusivity of heat by mixing.", examples=[0.02]
    )


class LinkedFilm(RequestModel):
    """Inner film of still gas, plus a part that goes with the mixing."""

    model: Literal["linked to mixing"] = Field(description="This model.")
    stanton_number: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=1)] = Field(
        default=0.0,
        description="A film in proportion to the mixing: Stanton number on mixing diffusivity over "
        f"bore. Default 0; {STANTON.median:g} has been an assumption before.",
        examples=[0],
    )
    stirred_film_coefficient: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=20)] = Field(
        default=STIRRED_FILM.median,
        description=_simulated(
            STIRRED_FILM,
            "What stirring adds to the film's Nusselt number, over the root of stirring "
            "diffusivity over viscosity.",
        ),
        examples=[1],
    )
    still_nusselt_number: Annotated[float, Quantity("1", PURE_NUMBER, low=1, high=10)] = Field(
        default=STILL_NUSSELT,
        description=f"Nusselt number where nothing stirs. Default {STILL_NUSSELT:.4g}, that of "
        f"still gas, exactly; gas that flows through has {FLOWING_NUSSELT:g}.",
        examples=[5.783],
    )
    gas_radiation: bool = Field(
        default=True,
        strict=True,
        description="Whether carbon dioxide and water radiate to the bore, taken as dark (0.8), "
        "after Leckner (1972). It lowers the quiet rpm by some 0.15 % at 150 degC "
        "and 0.4 % at 400 degC. Default true.",
    )


class FixedFilm(RequestModel):
    """One film coefficient everywhere; convection only."""

    model: Literal["fixed"] = Field(description="A number of one's own.")
    coefficient_W_m2K: FilmCoefficient = Field(
        description="Film coefficient. Radiation is switched off by emissivity 0, not here.",
        examples=[12],
    )


class NaturalAndForced(RequestModel):
    """Outer film from correlations for still and moving air."""

    model: Literal["natural and forced"] = Field(description="This model.")
    factor: Factor = Field(
        default=OUTER_FILM_FACTOR.median,
        description=_assumed(OUTER_FILM_FACTOR, "Multiplies the film coefficient."),
        examples=[1],
    )


class MouthByGeometry(RequestModel):
    """Mouth correction by how the mouth sits: on a main pipe, in a plane, or free."""

    model: Literal["side branch", "flanged", "unflanged"] = Field(
        description="On a main pipe, in a plane, or free."
    )
    factor: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=3)] = Field(
        default=MOUTH_FACTOR.median,
        description=_assumed(
            MOUTH_FACTOR, "Multiplies the correction as it is without flow in the main pipe."
        ),
        examples=[1],
    )
    flow_factor: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=3)] = Field(
        default=1.0,
        description="Multiplies what the main pipe's flow takes off the correction, by our own "
        "simulation: the more, the slower the tone against frequency × bore / speed; 0 leaves it "
        "out. Default 1.",
        examples=[1],
    )


class FixedMouth(RequestModel):
    """A measured mouth correction."""

    model: Literal["fixed"] = Field(description="A number of one's own.")
    length_mm: Annotated[float, Quantity("mm", LENGTH, low=0, high=200)] = Field(
        description="Length added at the mouth, of main-pipe gas.", examples=[11]
    )


class MouthLoss(RequestModel):
    """What resists at the mouth, which bounds how much of the tone the branch keeps back."""

    flow_coefficient: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=10)] = Field(
        default=FLOW_LOSS.median,
        description=_assumed(
            FLOW_LOSS,
            "Resistance by the flow past the mouth, over density × sound speed × Mach number; 0 "
            "leaves it out.",
        ),
        examples=[0.4],
    )
    level_coefficient: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=10)] = Field(
        default=LEVEL_LOSS.median,
        description=_assumed(
            LEVEL_LOSS,
            "Kinetic energy that the tone's own motion loses at the mouth, over that of the gas "
            "that passes; 0 leaves it out.",
        ),
        examples=[0.8],
    )


Mixing = Annotated[StirredMouth | FixedMixing, Field(discriminator="model")]
InnerFilm = Annotated[LinkedFilm | FixedFilm, Field(discriminator="model")]
OuterFilm = Annotated[NaturalAndForced | FixedFilm, Field(discriminator="model")]
MouthCorrection = Annotated[MouthByGeometry | FixedMouth, Field(discriminator="model")]


class Closures(RequestModel):
    """The uncertain parts of the model. Each can be replaced by a number you measured."""

    mixing: Mixing = Field(
        default=StirredMouth(model="stirred mouth"), description="How gas mixes along the branch."
    )
    inner_film: InnerFilm = Field(
        default=LinkedFilm(model="linked to mixing"), description="Gas to wall inside the branch."
    )
    outer_film: OuterFilm = Field(
        default=NaturalAndForced(model="natural and forced"), description="Skin to air."
    )
    mouth_correction: MouthCorrection = Field(
        default=MouthByGeometry(model="side branch"), description="Length added at the mouth."
    )
    wall_losses: bool = Field(
        default=True,
        strict=True,
        description="Viscous and thermal losses at the bore's wall. Default true.",
    )
    condensation: bool = Field(
        default=True,
        strict=True,
        description="Whether vapour condenses on a wall below its dew point, warms it and leaves "
        "drier gas, whose sound is slower. It lowers the quiet rpm by 0.3 to 1.4 %. "
        "Default true.",
    )
    calibration: Calibration | None = Field(
        default=None,
        description="What a fit learned, as POST /v1/fit returned it. It replaces the "
        "coefficients that it names, shifts temperatures and emissivity, and gives predictions "
        "intervals. Default null.",
    )
    mouth_loss: MouthLoss = Field(
        default=MouthLoss(), description="What resists at the mouth; it moves no resonance."
    )
