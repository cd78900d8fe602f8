"""What ``POST /v1/warmup`` gives."""

from __future__ import annotations

from pydantic import Field

from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.fields import AnswerModel, Loops, in_unit
from warmbranch_service.contract.whole_answer import WholeAnswer


class Series(AnswerModel):
    """Against time; all lists are as long as ``time_s``."""

    time_s: list[float] = Field(description="To 0.001.", json_schema_extra=in_unit("s"))
    resonance_Hz: list[float | None] = Field(
        description="First resonance; to 0.001. Null where there is none.",
        json_schema_extra=in_unit("Hz"),
    )
    quiet_rpm: list[float | None] | None = Field(
        description="To 0.1; null without an engine.", json_schema_extra=in_unit("rpm")
    )
    transmission_loss_dB: list[float | None] = Field(
        description="At the driven tone; to 0.01.", json_schema_extra=in_unit("dB")
    )
    mouth_gas_degC: list[float] = Field(
        description="Of the main pipe, at the mouth; to 0.01.", json_schema_extra=in_unit("degC")
    )
    skin_degC: list[list[float]] = Field(
        description="At each of positions_mm, one list a time; to 0.01.",
        json_schema_extra=in_unit("degC"),
    )
    gas_degC: list[list[float]] = Field(
        description="Likewise the gas; to 0.01.", json_schema_extra=in_unit("degC")
    )
    condensation: list[bool] = Field(
        description="Whether any of the wall is below the gas's dew point."
    )


class Settled(AnswerModel):
    """From when on the quiet rpm stays near the warm one; null if not within the duration."""

    within_1_percent_s: float | None = Field(
        description="To 0.1; 0 if it always is.", json_schema_extra=in_unit("s")
    )
    within_0_3_percent_s: float | None = Field(
        description="To 0.1.", json_schema_extra=in_unit("s")
    )


class Drift(AnswerModel):
    """Cold less warm."""

    resonance_Hz: float | None = Field(description="To 0.001.", json_schema_extra=in_unit("Hz"))
    quiet_rpm: float | None = Field(
        description="To 0.1; null without an engine.", json_schema_extra=in_unit("rpm")
    )
    length_equivalent_mm: float | None = Field(
        description="How much a warm branch would have to be lengthened to resonate as low as the "
        "cold one; to 0.1.",
        json_schema_extra=in_unit("mm"),
    )


class Driven(AnswerModel):
    """The tone at which the transmission loss is told."""

    frequency_Hz: float = Field(description="To 0.001.", json_schema_extra=in_unit("Hz"))
    rpm: float | None = Field(
        description="To 0.1; null without an engine.", json_schema_extra=in_unit("rpm")
    )
    warm_loss_dB: float | None = Field(
        description="Transmission loss warm through; to 0.01.", json_schema_extra=in_unit("dB")
    )
    most_lost_to_cold_dB: float | None = Field(
        description="Largest shortfall against that over the series; to 0.01.",
        json_schema_extra=in_unit("dB"),
    )


class Condensation(AnswerModel):
    """Water in the branch."""

    dew_point_degC: float | None = Field(
        description="Of the gas; to 0.1. Null for a gas without water.",
        json_schema_extra=in_unit("degC"),
    )
    dry_from_s: float | None = Field(
        description="First reported time from which the whole wall is above it; 0 if always, null "
        "if not within the duration.",
        examples=[120],
        json_schema_extra=in_unit("s"),
    )


class Plateau(AnswerModel):
    """A stretch of a minute or more during which all curves rest."""

    from_s: float = Field(description="Beginning.", json_schema_extra=in_unit("s"))
    to_s: float = Field(description="End.", json_schema_extra=in_unit("s"))
    resonance_Hz: float | None = Field(
        description="If it lasted for ever; to 0.001.", json_schema_extra=in_unit("Hz")
    )
    quiet_rpm: float | None = Field(
        description="Likewise; to 0.1.", json_schema_extra=in_unit("rpm")
    )


class Bands(AnswerModel):
    """Intervals from the calibration; one pair a time."""

    time_s: list[float] = Field(description="To 0.001.", json_schema_extra=in_unit("s"))
    resonance_interval_50_Hz: list[tuple[float, float]] = Field(
        description="Holds half of the draws; to 0.01.", json_schema_extra=in_unit("Hz")
    )
    resonance_interval_90_Hz: list[tuple[float, float]] = Field(
        description="Holds nine tenths; to 0.01.", json_schema_extra=in_unit("Hz")
    )
    quiet_rpm_interval_50: list[tuple[float, float]] | None = Field(
        description="To 0.1; null without an engine.", json_schema_extra=in_unit("rpm")
    )
    quiet_rpm_interval_90: list[tuple[float, float]] | None = Field(
        description="To 0.1; null without an engine.", json_schema_extra=in_unit("rpm")
    )


class Condition(AnswerModel):
    """One condition of the map, warm through."""

    air_temperature_degC: float = Field(description="Air.", json_schema_extra=in_unit("degC"))
    gas_temperature_degC: float = Field(description="Main gas.", json_schema_extra=in_unit("degC"))
    mass_flow_kg_h: float = Field(
        description="Main pipe; five digits.", json_schema_extra=in_unit("kg/h")
    )
    air_speed_m_s: float = Field(description="Across.", json_schema_extra=in_unit("m/s"))
    resonance_Hz: float | None = Field(description="To 0.001.", json_schema_extra=in_unit("Hz"))
    quiet_rpm: float | None = Field(description="To 0.1.", json_schema_extra=in_unit("rpm"))
    transmission_loss_dB: float | None = Field(
        description="At the driven tone, with the branch as it is; to 0.01.",
        json_schema_extra=in_unit("dB"),
    )


class BestLength(AnswerModel):
    """A length for all conditions."""

    centreline_length_mm: float = Field(description="To 0.1.", json_schema_extra=in_unit("mm"))
    transmission_loss_dB: float = Field(
        description="In the worst condition, or the weighted mean of what is left, as a loss; to "
        "0.01.",
        json_schema_extra=in_unit("dB"),
    )


class ConditionsMap(AnswerModel):
    """The steady quiet rpm over weather, load and air speed."""

    grid: list[Condition] = Field(description="Air temperature slowest, air speed fastest.")
    spread_Hz: float | None = Field(
        description="Highest less lowest resonance; to 0.001.", json_schema_extra=in_unit("Hz")
    )
    spread_rpm: float | None = Field(
        description="Likewise of the quiet rpm: what one length must live with; to 0.1.",
        json_schema_extra=in_unit("rpm"),
    )
    best_for_worst: BestLength | None = Field(
        description="The length whose worst condition loses least. Null without a resonance."
    )
    best_on_average: BestLength | None = Field(
        description="The length that leaves least on weighted average. Null without a resonance."
    )


class StoredHeat(AnswerModel):
    """Heat over the whole time."""

    entered_kJ: float = Field(
        description="Through the mouth; five digits.", json_schema_extra=in_unit("kJ")
    )
    lost_kJ: float = Field(
        description="To the surroundings; five digits.", json_schema_extra=in_unit("kJ")
    )
    stored_kJ: float = Field(
        description="In metal and wrap; five digits.", json_schema_extra=in_unit("kJ")
    )
    imbalance: float = Field(
        description="Largest, over time, of what is amiss over what has passed; two digits.",
        json_schema_extra=in_unit("1"),
    )


class Steps(AnswerModel):
    """The work that was done."""

    steps: int = Field(description="Steps in time.", json_schema_extra=in_unit("1"))
    rejected: int = Field(description="Steps taken again, shorter.", json_schema_extra=in_unit("1"))
    iterations: int = Field(description="Newton steps.", json_schema_extra=in_unit("1"))
    nodes: int = Field(description="Points along the branch.", json_schema_extra=in_unit("1"))
    loops: Loops


class WarmupAnswer(WholeAnswer):
    """How the quiet rpm wanders while the branch warms up or cools down."""

    TABLE = "series"
    SHORT = ("cold_quiet_rpm", "warm_quiet_rpm", "cold_resonance_Hz", "warm_resonance_Hz")

    summary: str = Field(description="The answer in plain words.")
    positions_mm: list[float] = Field(
        description="Where skin and gas are told; to 0.01.", json_schema_extra=in_unit("mm")
    )
    series: Series
    settled: Settled
    cold_quiet_rpm: float | None = Field(
        description="At the first moment; to 0.1. Null without an engine or a resonance.",
        json_schema_extra=in_unit("rpm"),
    )
    warm_quiet_rpm: float | None = Field(
        description="Steady, at what the curves end with; with a named start, in the case's "
        "running condition; to 0.1.",
        json_schema_extra=in_unit("rpm"),
    )
    cold_resonance_Hz: float | None = Field(
        description="To 0.001.", json_schema_extra=in_unit("Hz")
    )
    warm_resonance_Hz: float | None = Field(
        description="To 0.001.", json_schema_extra=in_unit("Hz")
    )
    drift: Drift
    driven: Driven
    condensation: Condensation
    plateaus: list[Plateau] = Field(description="Of the curves; none with a named start.")
    bands: Bands | None = Field(
        description="Null without a calibration in the case, or when not wanted."
    )
    conditions: ConditionsMap | None = Field(description="Null unless asked for.")
    heat: StoredHeat
    cautions: list[Caution]
    assumptions: list[str] = Field(description="What was taken for what the request left open.")
    solver: Steps
    model_version: str = Field(description="Version of the model that answered.")

    def report(self, *, full: bool = True) -> str:
        """The answer as the command line prints it; without ``full`` its notes are shortened."""
        from warmbranch_service.warmup.table import readable_warmup

        return readable_warmup(self, full=full)
