"""Sentences for people on what a fit found, what it cannot tell, and what to do next."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from warmbranch.base.constants import ICE_POINT
from warmbranch.fit.job_ahead import JobAhead
from warmbranch.fit.readings import LEAST_HEARING
from warmbranch.fit.shared import EAR, PATTERN, THERMOMETER
from warmbranch.fit.solve import Fitted
from warmbranch.fit.suspicion import Suspicion
from warmbranch.fit.trim_advice import RISK
from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.text import named
from warmbranch_service.fit.answer_schema import (
    FitPrediction,
    HeardResidual,
    LengthParts,
    NextReading,
    Parameter,
    Reason,
    Residual,
    Trim,
)
from warmbranch_service.fit.rivals import RIVALS, to_settle
from warmbranch_service.steady.answer_schema import Levels

Numbers = Mapping[str, float]

LEARNED_NOTHING = 0.15
"""Share of a prior's width below which the data say nothing of an unknown."""

NAMES = {
    "stirring": "the strength of the stirring at the mouth",
    "reach": "the reach of the stirring",
    "pulsation": "the mixing by pulsation",
    "mouth_exchange": "the exchange at the mouth by the flow",
    "tone_exchange": "the exchange at the mouth by the tone",
    "mass_flow": "the gas flow",
    "buoyancy": "the buoyant counterflow",
    "stirred_film": "the inner film",
    "stanton": "the inner film",
    "outer_film_factor": "the outer film",
    "emissivity": "the skin's emissivity",
    "air_temperature": "the air temperature near the branch",
    "air_speed": "the air's speed along the branch",
    "radiant_temperature": "the temperature of what the branch radiates to",
    "rise": "how far the branch rises",
    "wrap_conductivity": "the wrap's conductivity",
    "gas_temperature": "the main gas temperature",
    "mouth_factor": "the mouth correction",
    "sharpness": "how sharply the stirring ends",
    "tone": "what the model leaves over of the tone",
    "time_since_start": "the time since the start",
    "start_time_factor": "how fast the gas at the mouth warms",
}


def _degrees(kelvin: float) -> str:
    return f"{kelvin - ICE_POINT:.0f} °C"


def _bare_metal(n: Numbers) -> str:
    return (
        f"This surface emits only {n['emissivity']:.2f} of what a black one would and mirrors the "
        f"rest, so the display says little: the skin may be at {_degrees(n['skin'])}. Read a "
        "patch of matt black paint, or of tape where it is cool enough."
    )


def _hotter(n: Numbers) -> str:
    return (
        f"It shows more than the main pipe's gas ({_degrees(n['gas_temperature'])}) and the air: "
        "look for a reflection of something hotter, or for a wrong emissivity or gas temperature."
    )


def _below_air(n: Numbers) -> str:
    return (
        f"It shows less than the air ({_degrees(n['air_temperature'])}): a shiny skin that mirrors "
        "the sky, a wet skin, or another air temperature."
    )


def _patch_hot(n: Numbers) -> str:
    return f"A patch of this kind shrivels and lifts above {_degrees(n['limit'])}."


def _misses(n: Numbers) -> str:
    return (
        f"Only {n['share'] * 100:.0f} % of the spot falls on the tube. Go nearer: the tube should "
        "be twice as wide as the spot."
    )


def _no_fit(n: Numbers) -> str:
    more = "more" if n["residual"] > 0 else "less"
    return (
        f"It shows {abs(n['residual']):.0f} K {more} than the fitted branch would, far more than "
        "its uncertainty; the fit gives it little weight."
    )


def _contradicts(n: Numbers) -> str:
    return (
        f"Reading {n['other'] + 1:.0f} is of the same spot and differs by "
        f"{abs(n['difference']):.0f} K after allowing for the surfaces. One of the two is wrong; "
        "read the spot again."
    )


_READING: dict[str, Callable[[Numbers], str]] = {
    "bare_shiny_metal": _bare_metal,
    "hotter_than_gas": _hotter,
    "below_air": _below_air,
    "patch_too_hot": _patch_hot,
    "spot_misses": _misses,
    "does_not_fit": _no_fit,
    "contradicts": _contradicts,
}


def reasons(suspicions: Iterable[Suspicion]) -> list[Reason]:
    """Why a reading looks wrong."""
    return [Reason(code=one.code, message=_READING[one.code](one.numbers)) for one in suspicions]


def tone_reason(suspicion: Suspicion, per_hertz: float | None) -> Reason:
    """Why a tone cannot be the first resonance, and what it may be."""
    if suspicion.code == "does_not_fit":
        message = (
            "It is farther from the fitted branch than its uncertainty explains, so it has little "
            "weight: check the length, the engine speed and the gas temperature, and listen again."
        )
        return Reason(code=suspicion.code, message=message)
    n = suspicion.numbers
    predicted = (
        f"{n['predicted']:.0f} Hz" if per_hertz is None else f"{n['predicted'] * per_hertz:.0f} rpm"
    )
    text = f"It is {n['ratio']:.2f} times what is predicted ({predicted})"
    ideas: list[str] = []
    if "resonance" in n:
        ideas.append(f"an overtone: resonance {n['resonance']:.0f} of the branch is near it")
    if "order" in n:
        ideas.append(
            f"a wrong order: engine order {n['order']:g} at this speed would be the first resonance"
        )
    guess = "; or ".join(ideas) or "no overtone and no simple order, so check speed and length"
    return Reason(
        code=suspicion.code, message=f"{text}. Likely {guess}. It is left out of the fit."
    )


def _spread(levels: Levels, unit: str) -> str:
    low, high = levels.interval_90
    return f"{levels.median:.0f} {unit} (90 % between {low:.0f} and {high:.0f})"


def summary(
    outcome: str,
    slip: str | None,
    residuals: Sequence[Residual],
    heard: Sequence[HeardResidual],
    prediction: FitPrediction,
    advice: NextReading,
    cut: Trim | None,
    as_read: Sequence[str] = (),
) -> str:
    """The answer in plain words."""
    said, readings = [_OUTCOMES[outcome]], len(residuals)
    used = sum(not tone.suspect for tone in heard)
    if readings + used == 0:
        said = ["Nothing was read or heard that counts, so this is what is usual."]
    elif readings + used == 1:
        said = ["One observation is too little for a fit: much of this is what is usual."]
    if slip is not None:
        doubted = [sentence for sentence in said if sentence != _OUTCOMES["fitted"]]
        said = [to_settle(slip), "What follows takes all as it is written.", *doubted]
    in_time = sum(one.time_s is not None for one in residuals)
    if in_time:
        which = "All readings were" if in_time == readings else f"{in_time} of {readings} were"
        which = "The reading was" if readings == 1 else which
        said.append(f"{which} taken during the warm-up and compared with the warming branch.")
    said += as_read
    levels = prediction.quiet_rpm or prediction.resonance_Hz
    if levels is None:
        said.append("Losses at the wall leave this branch without a resonance.")
    else:
        unit = "Hz" if prediction.quiet_rpm is None else "rpm"
        before = prediction.before_fit
        old = before.resonance_Hz if prediction.quiet_rpm is None else before.quiet_rpm
        said.append(f"The branch cancels best at {_spread(levels, unit)}")
        said[-1] += "." if old is None else f"; before the fit, {_spread(old, unit)}."
    if cut is not None:
        said.append(cut.message)
    said.append(_advice(advice))
    return " ".join(said)


_OUTCOMES = {
    "fitted": "The model fits what was read and heard.",
    "prior-dominated": "What was measured adds little: most of this is what is usual.",
    "contradictory readings": "Readings contradict each other or the model; see which are suspect.",
    "at a bound": "The data push an unknown to the edge of what is plausible: doubt a reading, the "
    "gas temperature, or what the case leaves out.",
    "not converged": "The search for the best fit stopped short; take the intervals with care.",
}


def _advice(advice: NextReading) -> str:
    share = f"{advice.variance_removed_share * 100:.0f} % of the doubt"
    if advice.listen:
        place = advice.best_position
        return (
            f"Best next: listen for the quiet rpm, which would remove {share}; a reading at "
            f"{place.position_mm:.0f} mm would remove {place.variance_removed_share * 100:.0f} %."
        )
    return f"Best next: read the skin at {advice.position_mm:.0f} mm, which would remove {share}."


def trim(
    cut_now: float,
    already: float,
    final: float,
    interval: tuple[float, float],
    unreachable: float,
    ahead: JobAhead | None,
) -> str:
    """Advice on the saw, from the branch as it stands; lengths in mm."""
    cut_now, final = cut_now - already, final - already
    low, high = (value - already for value in interval)
    lost = ""
    if unreachable > 0:
        lost = f" In {unreachable * 100:.0f} % of the draws no admissible length gives it."
    if final <= 0:
        return (
            f"For the target the branch is too short already, by about {-final:.0f} mm (90 % "
            f"between {-high:.0f} and {-low:.0f}): do not cut.{lost}"
        )
    if cut_now <= 0:
        return (
            f"For the target about {final:.0f} mm must come off (90 % between {low:.0f} and "
            f"{high:.0f}), but any cut now would risk more than {RISK * 100:g} % of ending too "
            f"short.{lost}"
        )
    job = ""
    if ahead is not None and ahead.cuts > MORE_THAN_ONE:
        job = (
            f" Such a job takes some {ahead.cuts:.0f} cuts with a hearing after each, and leaves "
            f"about {ahead.left_over * 1e3:.0f} mm too much. Listen after the last cut too."
        )
    return (
        f"For the target, cut {cut_now:.0f} mm now, which leaves less than {RISK * 100:g} % chance "
        "of ending too short; then listen, and fit again before the next cut. In all about "
        f"{final:.0f} mm will come off (90 % between {low:.0f} and {high:.0f}).{job}{lost}"
    )


def difference(rule: float, per_hertz: float | None, parts: LengthParts) -> str:
    """Which part of the difference from the one-temperature rule is what."""
    unit, scale = ("Hz", 1.0) if per_hertz is None else ("rpm", per_hertz)
    total = sum(
        (
            parts.gas_composition_mm,
            parts.cold_tail_mm,
            parts.mouth_correction_mm,
            parts.wall_losses_mm,
            parts.bends_mm,
            parts.learned_mm,
            parts.bore_changes_mm,
        )
    )
    names = {
        "the cold tail": parts.cold_tail_mm,
        "the gas, which is not air": parts.gas_composition_mm,
        "the mouth correction": parts.mouth_correction_mm,
        "losses at the wall": parts.wall_losses_mm,
        "bends": parts.bends_mm,
        "what the model leaves over": parts.learned_mm,
        "pieces of other tubes": parts.bore_changes_mm,
    }
    told = ", ".join(f"{name} {value:+.0f} mm" for name, value in names.items() if round(value))
    longer = "longer" if total < 0 else "shorter"
    return (
        f"One gas temperature all along promises {rule * scale:.0f} {unit}. For the tone of the "
        f"fitted branch that rule would have built {abs(total):.0f} mm {longer}; of the "
        f"difference, {told or 'nothing is left'}."
    )


def untold(
    found: Fitted, parameters: Sequence[Parameter], readings: int, heard: Sequence[HeardResidual]
) -> list[str]:
    """What the data cannot tell."""
    said: list[str] = []
    blind = [
        NAMES.get(one.name, one.name) for one in parameters if one.learned_share < LEARNED_NOTHING
    ]
    if blind:
        said.append(f"The data say next to nothing of {named(blind)}: these stay what is usual.")
    for first, second, correlation in found.ties:
        way = "together" if correlation > 0 else "against each other"
        said.append(
            f"The data cannot tell {NAMES[first]} from {NAMES[second]}: both may move {way} "
            f"(correlation {correlation:+.2f})."
        )
    if all(tone.suspect for tone in heard):
        why = (
            "What was heard is suspect and counts for little, so hardly anything speaks"
            if heard
            else "No quiet rpm was heard, so nothing speaks"
        )
        said.append(
            f"{why} for or against the mouth correction, nor for the gas between the readings and "
            "the resonance."
        )
    if readings == 0:
        said.append(
            "Without readings of the skin, one tone cannot tell a warm tail from a short mouth."
        )
    return said


def _named(name: str) -> str:
    return NAMES.get(name, f"the {name}")


MORE_THAN_ONE = 1.5
"""Cuts from which a job is said to take some."""

TWICE, MOST_TOLD = 1.5, 1000.0
"""Odds from which they are told, and the most that is told of them."""


def assumed(found: Fitted, readings: int, heard: int) -> list[str]:
    """What the fit takes for granted of readings and ears."""
    said: list[str] = []
    if heard:
        said.append(
            "What is heard as quietest is not quite the branch's own tone: load, cabin and the "
            f"lopsided notch shift it by {EAR * 100:.1f} % or so, the same way each time. That "
            "comes on top of the uncertainty given, and listening again does not remove it. No "
            f"single hearing is taken to be better than {LEAST_HEARING * 100:.1f} %."
        )
    if readings:
        said.append(
            f"A thermometer's scale is taken to be good to {THERMOMETER * 100:.1f} %, and the "
            f"skin's excess over the air to depart by {PATTERN * 100:.0f} % or so, smoothly along "
            "the branch, from what the model makes of it."
        )
    if any(one.name == "time_since_start" for one in found.parameters):
        said.append(
            "Nobody told how long the engine had run from cold: the branch was most likely warm, "
            "but one job in seven is read within a quarter of an hour of the start, so the fit "
            "allows for that, and time_untold for a few minutes only."
        )
    return said


def cautions(found: Fitted) -> list[Caution]:
    """What to know of the fit itself."""
    said: list[Caution] = []
    for rival in found.rivals:
        told = RIVALS[rival.name]
        likelier = f"That is {min(rival.odds, MOST_TOLD):.0f} times likelier than all as written. "
        weighed = likelier if rival.odds >= TWICE else ""
        text = f"{told.sentence} {weighed}To decide: {told.what_to_read}"
        said.append(Caution(code=f"perhaps_{rival.name}", message=text, field="readings"))
    far = [_named(one.name) for one in found.parameters if one.beyond]
    if far:
        text = (
            f"The data push {named(far)} beyond what holds 95 % of all branches: doubt a "
            "reading, a unit or the case before you believe it."
        )
        said.append(Caution(code="beyond_the_prior", message=text, field=""))
    if found.ensemble.rounds > 1:
        text = (
            "What fits lies lopsidedly about the likeliest, so the ranges were worked out from "
            "further rounds of draws."
        )
        said.append(Caution(code="not_normal", message=text, field=""))
    if found.ensemble.widened:
        text = (
            "Few of the draws carry most of the weight; intervals were widened until enough "
            "count. Fewer unknowns, or better readings, would help."
        )
        said.append(Caution(code="few_effective_draws", message=text, field=""))
    if found.ensemble.without_resonance > 0:
        share = found.ensemble.without_resonance * 100
        text = (
            f"In {share:.1f} % of the draws losses leave no resonance; they are not in the "
            "intervals."
        )
        said.append(Caution(code="draws_without_resonance", message=text, field=""))
    return said
