"""What ``POST /v1/fit`` gives."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from warmbranch.fit.trim_advice import RISK
from warmbranch_service.case.calibration import Calibration
from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.fields import AnswerModel, Loops, in_unit
from warmbranch_service.contract.whole_answer import WholeAnswer
from warmbranch_service.fit.read_standing import ASKED
from warmbranch_service.fit.rivals import RIVALS
from warmbranch_service.fit.untold_schema import ReadIdling, ReadStanding, TimeUntold
from warmbranch_service.steady.answer_schema import Prediction

FitOutcome = Literal[
    "fitted", "prior-dominated", "contradictory readings", "at a bound", "not converged"
]
Pair = tuple[float, float]
NextStep = Literal["cut, then listen", "listen", "leave it"]
RivalName = Literal[
    "fahrenheit",
    "celsius",
    "inches",
    "from_cap",
    "swapped_columns",
    "wrong_end",
    "bare_metal",
    "wind_in_front",
    "wind_behind",
    "not_warm",
]


NAMED = "that which unit names"


class Parameter(AnswerModel):
    """What is known of one unknown; four digits, in the unit that ``unit`` names."""

    name: str = Field(
        description="As in unknowns.fixed, or the emissivity of a patch, or start_time_factor: "
        "what the time constants of the named start are to be multiplied by, or time_since_start: "
        "where nobody told whether the branch was warm."
    )
    unit: str = Field(description="degC, s, or 1 for a pure number.")
    prior_90: Pair = Field(
        description="5 and 95 % before the fit.", json_schema_extra=in_unit(NAMED)
    )
    estimate: float = Field(description="Median after the fit.", json_schema_extra=in_unit(NAMED))
    interval_90: Pair = Field(
        description="5 and 95 % after the fit.", json_schema_extra=in_unit(NAMED)
    )
    learned_share: float = Field(
        description="Share of the prior's width that the data removed; to 0.01.",
        json_schema_extra=in_unit("1"),
    )
    beyond_prior: bool = Field(
        description="Whether the estimate has left the range that held 95 % of the prior: doubt "
        "the readings or the case first."
    )
    at_bound: bool = Field(
        description="Whether the most probable value lies at the edge of what the prior admits."
    )


class Reason(AnswerModel):
    """Why something looks wrong."""

    code: str = Field(description="Stable identifier.", examples=["does_not_fit"])
    message: str = Field(
        description="One or two sentences for people.",
        examples=["It reads 31 K below what the fitted branch would show."],
    )


class Residual(AnswerModel):
    """One reading against the fitted model, as the thermometer would show it; to 0.1."""

    position_mm: float = Field(description="As given; to 0.1.", json_schema_extra=in_unit("mm"))
    time_s: float | None = Field(
        description="As given; to 0.001. Null for a reading of the settled branch.",
        json_schema_extra=in_unit("s"),
    )
    displayed_degC: float = Field(description="As given.", json_schema_extra=in_unit("degC"))
    expected_degC: float = Field(
        description="What the thermometer would show of the fitted branch.",
        json_schema_extra=in_unit("degC"),
    )
    residual_K: float = Field(
        description="Displayed less expected.", json_schema_extra=in_unit("K")
    )
    uncertainty_K: float = Field(
        description="Standard deviation that was used.", json_schema_extra=in_unit("K")
    )
    suspect: bool = Field(description="Whether the reading looks wrong.")
    reasons: list[Reason] = Field(description="Why; empty when nothing looks wrong.")


class HeardResidual(AnswerModel):
    """One tone heard against the fitted model."""

    centreline_length_mm: float = Field(
        description="Of the build that was heard; to 0.1.", json_schema_extra=in_unit("mm")
    )
    frequency_Hz: float = Field(description="As given; to 0.01.", json_schema_extra=in_unit("Hz"))
    expected_Hz: float | None = Field(
        description="First resonance of the fitted branch; to 0.01. Null where it has none.",
        json_schema_extra=in_unit("Hz"),
    )
    quiet_rpm: float | None = Field(
        description="As given; to 0.1. Null without an engine.", json_schema_extra=in_unit("rpm")
    )
    expected_rpm: float | None = Field(
        description="Of the fitted branch; to 0.1. Null without an engine or a resonance.",
        json_schema_extra=in_unit("rpm"),
    )
    suspect: bool = Field(
        description="Whether it cannot be the first resonance, and is left out of the fit, or "
        "does not fit, and has little weight."
    )
    reasons: list[Reason] = Field(
        description="Why, and what it may be instead; empty when all is well."
    )


class FitPrediction(Prediction):
    """After the fit, and before it."""

    before_fit: Prediction = Field(description="From the priors alone.")
    learned_share: float = Field(
        description="Share of the resonance's uncertainty that the data removed; to 0.01.",
        json_schema_extra=in_unit("1"),
    )


class Candidate(AnswerModel):
    """One place for a reading."""

    position_mm: float = Field(
        description="From the mouth; to 0.1.", json_schema_extra=in_unit("mm")
    )
    variance_removed_share: float = Field(
        description="Share of the resonance's variance that it would remove; to 0.001.",
        json_schema_extra=in_unit("1"),
    )


class NextReading(AnswerModel):
    """The reading that would most narrow the resonance."""

    listen: bool = Field(description="Whether listening for the quiet rpm is best.")
    position_mm: float | None = Field(
        description="Where to read the skin, on a patch of paint or by contact; to 0.1. Null when "
        "listening is best.",
        examples=[513.4],
        json_schema_extra=in_unit("mm"),
    )
    variance_removed_share: float = Field(
        description="Share of the resonance's variance that it would remove; to 0.001.",
        json_schema_extra=in_unit("1"),
    )
    listening_share: float = Field(
        description="The same for listening, found to 1 %; to 0.001.",
        json_schema_extra=in_unit("1"),
    )
    best_position: Candidate = Field(description="The best place, even when listening is better.")
    candidates: list[Candidate] = Field(description="All places that were weighed.")


class Trim(AnswerModel):
    """How much to take off at the cap, for a tone as the same ear will hear it."""

    target_rpm: float | None = Field(
        description="As wanted; to 0.1. Null without an engine.", json_schema_extra=in_unit("rpm")
    )
    target_Hz: float = Field(description="As wanted; to 0.01.", json_schema_extra=in_unit("Hz"))
    cut_now_mm: float = Field(
        description="Off the branch as case describes it; whole millimetres, rounded down. Leaves "
        f"it too short with at most {RISK * 100:g} % chance. already_cut_mm when any cut would "
        "risk more, or withheld_for names a slip.",
        json_schema_extra=in_unit("mm"),
    )
    already_cut_mm: float = Field(
        description="Part of cut_now_mm that is off already: how much shorter than case the "
        "shortest build was that was heard; to 0.1.",
        json_schema_extra=in_unit("mm"),
    )
    saw_now_mm: float = Field(
        description="What to take off now at the cap of the branch as it stands: cut_now_mm less "
        "already_cut_mm.",
        json_schema_extra=in_unit("mm"),
    )
    withheld_for: RivalName | None = Field(
        description="The slip, of rivals, that explains the readings at least as well as what was "
        "written: no cut is advised before it is settled. Null without one.",
        examples=["fahrenheit"],
    )
    next_step: NextStep = Field(
        description="What to do next. No cut is the last before the branch was heard after it."
    )
    final_cut_mm: float = Field(
        description="In all off the branch as case describes it, as likely more as less; to 0.1. "
        "Negative when that is too short already.",
        json_schema_extra=in_unit("mm"),
    )
    final_cut_90_mm: Pair = Field(
        description="5 and 95 % of it; to 0.1.", json_schema_extra=in_unit("mm")
    )
    chance_too_short: float = Field(
        description="After cut_now_mm; to 0.001.", json_schema_extra=in_unit("1")
    )
    message: str = Field(description="The same in plain words.")
    cuts_ahead: float | None = Field(
        description="Cuts that such a job takes on average, this one among them, with a hearing "
        "after each; to 0.1. Null when nothing is to be cut now.",
        examples=[3.4],
        json_schema_extra=in_unit("1"),
    )
    left_over_mm: float | None = Field(
        description="What such a job leaves too long in the end, in the middle of all; to 0.1. "
        "Null when nothing is to be cut now.",
        examples=[10.2],
        json_schema_extra=in_unit("mm"),
    )
    job_too_short: float | None = Field(
        description="Share of such jobs that end too short, all cuts together; to 0.001. Null "
        "when nothing is to be cut now.",
        examples=[0.046],
        json_schema_extra=in_unit("1"),
    )


class Rival(AnswerModel):
    """A slip that explains what was read as well as the fit does, or better."""

    name: RivalName = Field(description="Stable identifier of the slip.", examples=["from_cap"])
    sentence: str = Field(
        description="The slip as a question to whoever wrote the readings.",
        examples=[RIVALS["from_cap"].sentence],
    )
    odds: float = Field(
        description="How much likelier than that all is as written, at one slip in 30 readings' "
        "lists before anything is weighed; two digits, at most 1e6.",
        examples=[45],
        json_schema_extra=in_unit("1"),
    )
    what_to_read: str = Field(
        description="What would decide.", examples=[RIVALS["from_cap"].what_to_read]
    )
    quiet_rpm: float | None = Field(
        description="The most probable quiet engine speed if it is so; to 0.1. Null without an "
        "engine or a resonance.",
        examples=[2442.6],
        json_schema_extra=in_unit("rpm"),
    )
    resonance_Hz: float | None = Field(
        description="The same as a tone; to 0.01. Null without a resonance.",
        examples=[81.42],
        json_schema_extra=in_unit("Hz"),
    )


class LengthParts(AnswerModel):
    """Change of the length for the same tone, effect by effect; they add up; to 0.1."""

    gas_composition_mm: float = Field(
        description="The gas itself in place of dry air.", json_schema_extra=in_unit("mm")
    )
    cold_tail_mm: float = Field(
        description="Cooling along the branch.", json_schema_extra=in_unit("mm")
    )
    mouth_correction_mm: float = Field(
        description="The main pipe's gas that swings along.", json_schema_extra=in_unit("mm")
    )
    wall_losses_mm: float = Field(
        description="Viscous and thermal layers.", json_schema_extra=in_unit("mm")
    )
    bends_mm: float = Field(description="Their lower inertance.", json_schema_extra=in_unit("mm"))
    learned_mm: float = Field(
        description="What the model leaves over, as the tone heard tells it.",
        json_schema_extra=in_unit("mm"),
    )
    bore_changes_mm: float = Field(
        description="Pieces of other tubes.", json_schema_extra=in_unit("mm")
    )


class Difference(AnswerModel):
    """From the rule of one temperature to the fitted branch."""

    one_temperature_Hz: float = Field(
        description="What one gas temperature all along promises; to 0.01.",
        json_schema_extra=in_unit("Hz"),
    )
    one_temperature_rpm: float | None = Field(
        description="The same as an engine speed; to 0.1. Null without an engine.",
        json_schema_extra=in_unit("rpm"),
    )
    fitted_Hz: float = Field(
        description="First resonance with the fitted coefficients; to 0.01.",
        json_schema_extra=in_unit("Hz"),
    )
    fitted_rpm: float | None = Field(
        description="The same as an engine speed; to 0.1. Null without an engine.",
        json_schema_extra=in_unit("rpm"),
    )
    contributions: LengthParts
    message: str = Field(description="The same in plain words.")


class FitWork(AnswerModel):
    """The work that was done, and how well the draws stand for the truth."""

    steps: int = Field(description="Of the search.", json_schema_extra=in_unit("1"))
    draws: int = Field(description="Solved.", json_schema_extra=in_unit("1"))
    unsolved_draws: int = Field(
        description="Far-fetched ones without a solution; they weigh nothing.",
        json_schema_extra=in_unit("1"),
    )
    effective_draws: float = Field(
        description="How many equally weighted draws would tell as much.",
        json_schema_extra=in_unit("1"),
    )
    laplace_share: float = Field(
        description="How well a normal distribution about the most probable set fits; 1 is "
        "perfect, below 0.3 visibly wrong.",
        json_schema_extra=in_unit("1"),
    )
    widened: bool = Field(description="Whether intervals were widened for want of draws.")
    loops: Loops


class FitAnswer(WholeAnswer):
    """Calibrated closures with their uncertainty, predictions, and what to do next."""

    TABLE = "parameters"
    SHORT = ("outcome", "prediction.quiet_rpm.median", "trim.saw_now_mm", "trim.withheld_for")

    outcome: FitOutcome = Field(description="How it ended; a poor answer is named, not refused.")
    summary: str = Field(description="The answer in plain words.")
    parameters: list[Parameter]
    residuals: list[Residual] = Field(description="One a reading, in the order given.")
    heard: list[HeardResidual] = Field(description="One a tone heard, in the order given.")
    prediction: FitPrediction
    next_reading: NextReading
    rivals: list[Rival] = Field(
        description="Usual slips that are worth a question, likeliest first; empty when none is."
    )
    time_untold: TimeUntold | None = Field(
        description="Null where time_s, of the request or of anything in it, tells the time, or "
        "where it makes no difference."
    )
    read_standing: ReadStanding | None = Field(
        description="Null where while_read tells how it was read, the case's air hardly moves, or "
        "no settled reading speaks of it."
    )
    read_idling: ReadIdling | None = Field(
        description="Null where while_read tells how it was read, or the readings hardly look like "
        f"those of an engine at idle: a chance below {ASKED:g}."
    )
    trim: Trim | None = Field(description="Null without a target or without a resonance.")
    difference: Difference | None = Field(description="Null without a resonance.")
    untold: list[str] = Field(description="What the data cannot tell.")
    calibration: Calibration = Field(description="For case.closures.calibration of any route.")
    cautions: list[Caution]
    assumptions: list[str] = Field(description="What was taken for what the request left open.")
    solver: FitWork
    model_version: str = Field(description="Version of the model that answered.")

    def report(self, *, full: bool = True) -> str:
        """The answer as the command line prints it; without ``full`` its notes are shortened."""
        from warmbranch_service.fit.table import readable_fit

        return readable_fit(self, full=full)
