"""Ranges and limits of answers, for whoever reads them into something of fixed size.

They stand in the OpenAPI document only: an answer is not held back by them, the tests hold them
against what the model answers. A field's own ``minimum``, ``maxItems`` and so on go before.
"""

from __future__ import annotations

from collections.abc import Mapping

from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch.heat.grid import DEFAULT_NODES
from warmbranch_service.case.shop import MOST_KEPT, MOST_THERMOMETERS
from warmbranch_service.fit.readings import MOST_HEARD, MOST_READINGS
from warmbranch_service.length.request import MOST_POINTS as MOST_OPERATING_POINTS
from warmbranch_service.steady.request import MOST_POINTS
from warmbranch_service.warmup.drive import MOST_POINTS as MOST_CURVE_POINTS
from warmbranch_service.warmup.request import MOST_CONDITIONS, MOST_POSITIONS, MOST_TIMES

ANY_NUMBER = "any finite number"
"""The range, under ``x-range``, of a number that has no bound."""

LEAST: Mapping[str, float] = {
    "degC": -273.15,
    "1": 0,
    **dict.fromkeys(("mm", "Hz", "rpm", "s", "kg", "kg/h", "m/s", "kg/m3", "W/mK", "J/kgK"), 0),
}
"""Least value that an answer's number of a unit may have; other units have none."""

SIGNED = frozenset(
    {
        "BestLength.transmission_loss_dB",
        "CutList.tube_mm",
        "Drift.length_equivalent_mm",
        "Drift.quiet_rpm",
        "Drift.resonance_Hz",
        "FitPrediction.learned_share",
        "Heat.closure_error",
        "LengthContributions.bends_mm",
        "LengthContributions.cold_tail_mm",
        "LengthContributions.gas_composition_mm",
        "LengthContributions.mouth_correction_mm",
        "LengthContributions.one_temperature_rule_mm",
        "LengthContributions.wall_losses_mm",
        "LengthParts.bends_mm",
        "LengthParts.cold_tail_mm",
        "LengthParts.gas_composition_mm",
        "LengthParts.mouth_correction_mm",
        "LengthParts.wall_losses_mm",
        "NotchHeard.log10_odds",
        "LengthParts.learned_mm",
        "LengthContributions.learned_mm",
        "LengthContributions.bore_changes_mm",
        "LengthParts.bore_changes_mm",
        "Parameter.learned_share",
        "RivalSpeed.log10_odds",
        "SteadyAnswer.mouth_correction_mm",
        "Trim.final_cut_90_mm",
        "Trim.final_cut_mm",
    }
)
"""Numbers that may be negative though others of their unit may not."""

_CAUTIONS, _ASSUMPTIONS = 200, 50
_LOSS = 401  # engine speeds or tones of a curve of transmission loss that no request sizes
_LOUDNESS = 2001
_PLACES = 50_000

MOST: Mapping[str, int] = {
    "ListenAnswer.cabin_resonances_Hz": 100,
    "ListenAnswer.heard": 1,
    "ListenAnswer.loudness": 2,
    "ListenAnswer.loudness_target": 500,
    "ListenAnswer.recordings": 8,
    **dict.fromkeys(
        (
            "LossHeard.frequency_Hz",
            "LossHeard.measured_dB",
            "LossHeard.uncertainty_dB",
            "LossHeard.predicted_dB",
        ),
        1000,
    ),
    "RecordingAnswer.orders": 256,
    "RecordingAnswer.rivals": 8,
    "ConditionsMap.grid": MOST_CONDITIONS,
    "DiameterChoice.widths": 10,
    "FitAnswer.heard": MOST_HEARD,
    "FitAnswer.parameters": len(UNKNOWNS) + MOST_READINGS,
    "FitAnswer.rivals": 20,
    "FitAnswer.residuals": MOST_READINGS,
    "FitAnswer.untold": 50,
    "FoldProposal.centreline": 200,
    "HeardResidual.reasons": 20,
    "LearnAnswer.jobs": MOST_KEPT,
    "LearnAnswer.thermometers": MOST_KEPT * MOST_THERMOMETERS,
    "LearnAnswer.unknowns": len(UNKNOWNS),
    "LengthAnswer.cut_list": 200,
    "LengthAnswer.diameters": 20,
    "LengthAnswer.folds": 10,
    "LengthAnswer.operating_points": MOST_OPERATING_POINTS,
    "LengthAnswer.trim_steps": 200,
    "MaterialAnswer.conductivity_W_mK": 50,
    "MaterialAnswer.heat_capacity_J_kgK": 50,
    "NextReading.candidates": 100,
    "NotchAnswer.widths": 10,
    "PlaceAnswer.better": 100,
    "PlaceAnswer.nodes_mm": 1000,
    "ProblemEntry.value": 1,  # a list is told only where it is empty
    "ReferenceAnswer.fuels": 100,
    "ReferenceAnswer.gases": 100,
    "ReferenceAnswer.materials": 100,
    "ReferenceAnswer.surfaces": 100,
    "ReferenceAnswer.places": 100,
    "Residual.reasons": 20,
    "SteadyPrediction.narrowed_by": len(UNKNOWNS),
    "WarmupAnswer.plateaus": 3 * MOST_CURVE_POINTS,
    "WarmupAnswer.positions_mm": MOST_POSITIONS,
    **dict.fromkeys(
        (
            "Profile.position_mm",
            "Profile.gas_degC",
            "Profile.wall_degC",
            "Profile.skin_degC",
            "Profile.sound_speed_m_s",
        ),
        DEFAULT_NODES,
    ),
    **dict.fromkeys(
        (
            "TransmissionLoss.rpm",
            "TransmissionLoss.frequency_Hz",
            "TransmissionLoss.transmission_loss_dB",
        ),
        MOST_POINTS,
    ),
    **dict.fromkeys(("LoudnessAnswer.rpm", "LoudnessAnswer.before_dB"), _LOUDNESS),
    "LoudnessAnswer.after_dB": _LOUDNESS,
    **dict.fromkeys(("NotchAnswer.rpm", "NotchAnswer.frequency_Hz"), _LOSS),
    "NotchAnswer.transmission_loss_dB": _LOSS,
    **dict.fromkeys(("PairAnswer.rpm", "PairAnswer.frequency_Hz", "PairChoice.loss_dB"), _LOSS),
    **dict.fromkeys(("PlaceAnswer.position_mm", "PlaceAnswer.insertion_loss_dB"), _PLACES),
    "PlaceAnswer.band_insertion_loss_dB": _PLACES,
}
"""Entries that a list of an answer may have, by model and field."""

MOST_OF_ALL: Mapping[str, int] = {
    "assumptions": _ASSUMPTIONS,
    "cautions": _CAUTIONS,
}
"""The same for fields that several answers have."""

MOST_IN_MODEL: Mapping[str, int] = {
    "Track": 40_000,  # moments of an hour
    "OrderCurve": 1000,
    "LoudnessCurve": 500,
    "ChangeAnswer": 500,
    "Series": MOST_TIMES,
    "Bands": MOST_TIMES,
    "ProfileBands": DEFAULT_NODES,
}
"""The same for models whose lists are all as long."""

MOST_WITHIN: Mapping[str, int] = {
    "Series.skin_degC": MOST_POSITIONS,
    "Series.gas_degC": MOST_POSITIONS,
}
"""Entries of the lists within a list."""
