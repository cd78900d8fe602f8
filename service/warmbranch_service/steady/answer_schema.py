"""What ``POST /v1/steady`` gives."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.fields import (
    AnswerModel,
    Loops,
    in_unit,
)
from warmbranch_service.contract.whole_answer import WholeAnswer
from warmbranch_service.steady.water_schema import CondensedWater


class Profile(AnswerModel):
    """Temperatures along the branch; all lists are as long as ``position_mm``."""

    position_mm: list[float] = Field(
        description="From the mouth, along the centre-line; to 0.01.",
        json_schema_extra=in_unit("mm"),
    )
    gas_degC: list[float] = Field(
        description="Gas, mean over the bore; to 0.01.", json_schema_extra=in_unit("degC")
    )
    wall_degC: list[float] = Field(
        description="Wall of the tube; to 0.01.", json_schema_extra=in_unit("degC")
    )
    skin_degC: list[float] = Field(
        description="Outer surface, of the wrap where there is one; to 0.01.",
        json_schema_extra=in_unit("degC"),
    )
    sound_speed_m_s: list[float] = Field(
        description="In the gas; to 0.01.", json_schema_extra=in_unit("m/s")
    )


class Resonance(AnswerModel):
    """Where the branch resonates."""

    frequency_Hz: list[float | None] = Field(
        description="The first three resonances; to 0.001. Null where there is none, and the "
        "outcome or a caution says why.",
        min_length=3,
        max_length=3,
        json_schema_extra=in_unit("Hz"),
    )
    engine_order: float | None = Field(
        description="Engine order that quiet_rpm refers to; null without an engine.",
        json_schema_extra=in_unit("1"),
    )
    quiet_rpm: float | None = Field(
        description="Engine speed at which the branch cancels best, from the first resonance; to "
        "0.1. Null without an engine or without a resonance.",
        json_schema_extra=in_unit("rpm"),
    )
    quality_factor: float | None = Field(
        description="Of the first resonance, by losses inside the branch; four digits. Null "
        "without a resonance or without losses.",
        json_schema_extra=in_unit("1"),
    )


class Estimates(AnswerModel):
    """Shorter ways to a frequency, beside the true one and never instead of it."""

    transit_time_Hz: float = Field(
        description="1/(4 ∫dx/c), from the sum of local travel times; too low for a hot mouth and "
        "a cold cap; to 0.001.",
        json_schema_extra=in_unit("Hz"),
    )
    one_temperature_Hz: float = Field(
        description="From the main gas temperature all along, as is the habit; to 0.001.",
        json_schema_extra=in_unit("Hz"),
    )


class Heat(AnswerModel):
    """The heat balance of the branch."""

    entering_W: float = Field(
        description="Through the mouth, by gas, what its vapour sets free with it, and by wall; "
        "five digits.",
        json_schema_extra=in_unit("W"),
    )
    lost_W: float = Field(
        description="To the surroundings; five digits.", json_schema_extra=in_unit("W")
    )
    closure_error: float = Field(
        description="Difference of the two over the larger; two digits.",
        json_schema_extra=in_unit("1"),
    )


class DeepestLoss(AnswerModel):
    """Transmission loss at the first resonance, the branch at its best; a range, since the mouth
    resists by an amount that is known within a factor of three or so."""

    transmission_loss_dB: float | None = Field(
        description="By the coefficients as they stand; to 0.01. Null where it has no bound.",
        json_schema_extra=in_unit("dB"),
    )
    interval_90_dB: tuple[float, float] | None = Field(
        description="Range that holds it with 90 %, from what the mouth's losses, the tone's level "
        "and the flow leave open; to 0.1. Null where it has no bound.",
        examples=[(18.4, 23.9)],
        json_schema_extra=in_unit("dB"),
    )
    wall_alone_dB: float | None = Field(
        description="If nothing resisted but the branch's wall, as textbooks have it; to 0.01. "
        "Null without losses there.",
        json_schema_extra=in_unit("dB"),
    )


class TransmissionLoss(AnswerModel):
    """Transmission loss of the branch on the main pipe."""

    rpm: list[float] | None = Field(
        description="Engine speeds; null without an engine; to 0.1.",
        json_schema_extra=in_unit("rpm"),
    )
    frequency_Hz: list[float] = Field(
        description="Frequencies; to 0.001.", json_schema_extra=in_unit("Hz")
    )
    transmission_loss_dB: list[float | None] = Field(
        description="With main pipes without reflections on both sides; to 0.001. Null where it "
        "has no finite value.",
        json_schema_extra=in_unit("dB"),
    )
    deepest: DeepestLoss | None = Field(
        description="At the first resonance, as a range; null without one."
    )


class MainPipeAnswer(AnswerModel):
    """What flows in the main pipe, given or worked out."""

    mass_flow_kg_h: float = Field(
        description="Gas through the main pipe; five digits.", json_schema_extra=in_unit("kg/h")
    )
    gas_speed_m_s: float = Field(
        description="Mean gas speed at the mouth; four digits.", json_schema_extra=in_unit("m/s")
    )
    gas_temperature_degC: float = Field(
        description="Main gas at the mouth, given or worked out; to 0.01.",
        json_schema_extra=in_unit("degC"),
    )
    gas_temperature_from: Literal["given", "skin reading", "engine load"] = Field(
        description="Where it comes from."
    )
    gas_temperature_90_degC: tuple[float, float] | None = Field(
        description="Range that holds it with 90 %; to 0.1. Null where it is given.",
        examples=[(231.9, 384.0)],
        json_schema_extra=in_unit("degC"),
    )


HOLDER = "that of the field which holds it"


class Levels(AnswerModel):
    """A prediction with its uncertainty."""

    median: float = Field(
        description="As likely above as below.", json_schema_extra=in_unit(HOLDER)
    )
    interval_50: tuple[float, float] = Field(
        description="25 and 75 %.", json_schema_extra=in_unit(HOLDER)
    )
    interval_90: tuple[float, float] = Field(
        description="5 and 95 %.", json_schema_extra=in_unit(HOLDER)
    )


class Narrowing(AnswerModel):
    """What knowing one uncertain thing would do to the interval."""

    unknown: str = Field(
        description="Name of a coefficient, or of what the request gives or leaves open.",
        json_schema_extra={"enum": list(UNKNOWNS)},
    )
    share_percent: float = Field(
        description="Of the variance that would go if it were known; to 1.",
        json_schema_extra={"x-unit": "%", "minimum": 0, "maximum": 100},
    )
    remedy: str = Field(description="How to know it better.")


class Prediction(AnswerModel):
    """Quiet rpm and first resonance; null without an engine or without a resonance."""

    quiet_rpm: Levels | None = Field(description="To 0.1.", json_schema_extra=in_unit("rpm"))
    resonance_Hz: Levels | None = Field(description="To 0.01.", json_schema_extra=in_unit("Hz"))


def _band(what: str) -> Any:
    return Field(
        description=f"{what}; one pair a position; to 0.1.", json_schema_extra=in_unit("degC")
    )


class ProfileBands(AnswerModel):
    """Intervals of the temperatures, each position by itself."""

    position_mm: list[float] = Field(
        description="From the mouth; every fourth of the profile's; to 0.01.",
        json_schema_extra=in_unit("mm"),
    )
    gas_interval_50_degC: list[tuple[float, float]] = _band("Holds half of the draws")
    gas_interval_90_degC: list[tuple[float, float]] = _band("Holds nine tenths")
    skin_interval_50_degC: list[tuple[float, float]] = _band("Holds half of the draws")
    skin_interval_90_degC: list[tuple[float, float]] = _band("Holds nine tenths")


class SteadyPrediction(Prediction):
    """Quiet rpm, first resonance and temperatures along the branch."""

    profile: ProfileBands | None = Field(
        description="Of gas and skin, from the coarser grid of a fit: within 1 K near a hot "
        "mouth. Null without a calibration by a fit, or where no draw has a solution."
    )
    narrowed_by: list[Narrowing] = Field(
        description="What would narrow the interval most if it were known, first; empty with a "
        "calibration by a fit, which has its own advice on what to read."
    )


class Solver(AnswerModel):
    """The work that was done."""

    iterations: int = Field(description="Newton steps.", json_schema_extra=in_unit("1"))
    nodes: int = Field(description="Points along the branch.", json_schema_extra=in_unit("1"))
    loops: Loops


SteadyOutcome = Literal["resonance found", "no resonance"]


class SteadyAnswer(WholeAnswer):
    """Temperatures, resonance, heat and transmission loss of a branch that is warm through."""

    TABLE = "profile"
    SHORT = ("outcome", "resonance.quiet_rpm", "resonance.frequency_Hz", "centreline_length_mm")

    outcome: SteadyOutcome = Field(description="How it ended; a poor answer is named, not refused.")
    summary: str = Field(description="The answer in plain words.")
    profile: Profile
    resonance: Resonance
    estimates: Estimates
    effective_temperature_degC: float | None = Field(
        description="The one temperature at which the same branch with the same gas would "
        "resonate at frequency_Hz[0]; to 0.01. Null without a resonance, and where none between "
        "the coldest and the hottest gas does: a mouth whose gas outweighs the branch's.",
        json_schema_extra=in_unit("degC"),
    )
    mouth_correction_mm: float = Field(
        description="Length added at the mouth, of main-pipe gas, at the first resonance; to "
        "0.01. Below 0 where the flow past it takes more than there is.",
        json_schema_extra=in_unit("mm"),
    )
    centreline_length_mm: float = Field(
        description="From the main pipe's inner wall to the cap; to 0.01.",
        json_schema_extra=in_unit("mm"),
    )
    dew_point_degC: float | None = Field(
        description="Of the gas; to 0.1. Null for a gas without water.",
        json_schema_extra=in_unit("degC"),
    )
    main_pipe: MainPipeAnswer
    heat: Heat
    condensate: CondensedWater | None = Field(
        description="Water that condenses; null where none does."
    )
    prediction: SteadyPrediction | None = Field(
        description="Intervals of the quiet rpm and the resonance, from what is believed of the "
        "model and of what the request leaves open, or from a calibration; null where the request "
        "does not want them."
    )
    attenuation: TransmissionLoss
    cautions: list[Caution]
    assumptions: list[str] = Field(description="What was taken for what the request left open.")
    solver: Solver
    model_version: str = Field(description="Version of the model that answered.")

    def report(self, *, full: bool = True) -> str:
        """The answer as the command line prints it; without ``full`` its notes are shortened."""
        from warmbranch_service.steady.table import readable

        return readable(self, full=full)
