"""How sure a main gas temperature is that was worked out from the main pipe's skin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.draws import NORMAL_90, standard_normal
from warmbranch.belief.unknown import AIR_TEMPERATURE_SPREAD, GAS_TEMPERATURE_SPREAD, log_spread
from warmbranch.belief.unknowns import shifted_emissivity
from warmbranch.case.closures import OUTER_FILM_FACTOR, PULSATION_AUGMENTATION
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.surroundings import Surroundings
from warmbranch.fit.thermometer import skin_from_infrared
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.main_pipe_gas import ENGINE_LOADS, Flow, gas_temperature

DRAWS = 256

FLOW_SPREAD = 0.1
"""One standard deviation of the logarithm of a mass flow that is given. Our judgement."""

ASSUMED_SPEED_SPREAD = 0.5
"""The same of a gas speed that is only assumed: 95 % between 0.4 and 2.7 times. Our judgement."""


@dataclass(frozen=True)
class SkinReading:
    """One reading of the main pipe's skin near the mouth.

    Parameters
    ----------
    displayed : float, K
    uncertainty : float, K
        Standard deviation of what the thermometer shows.
    infrared : bool
    emissivity : float
        8 to 14 µm, of what was looked at.
    emissivity_spread : float
        Standard deviation of its logit; 0 where it is known.
    emissivity_set : float
    is_pipes_own : bool
        Whether the pipe's own skin was looked at, whose emissivity also decides what it radiates.
    """

    displayed: float
    uncertainty: float
    infrared: bool
    emissivity: float
    emissivity_spread: float
    emissivity_set: float
    is_pipes_own: bool


@dataclass(frozen=True)
class MainGas:
    """A main gas temperature with its belief.

    Parameters
    ----------
    temperature : float, K
        With everything at its middle; NaN where no gas explains the skin.
    skin : float, K
        What the reading says that the skin is; NaN without a reading.
    spread : float
        Standard deviation of the logarithm of the gas's excess over the air: the coordinate of
        ``gas_temperature`` in unknowns.py.
    """

    temperature: float
    skin: float
    spread: float

    def interval_90(self, air: float) -> tuple[float, float]:
        """Range that holds 90 %, K."""
        excess, wide = self.temperature - air, np.exp(NORMAL_90 * self.spread)
        low, high = sorted((air + excess / wide, air + excess * wide))
        return float(low), float(high)


def from_load(load: str, air: float) -> MainGas:
    """What is believed of the main gas when only the engine's load is known.

    Parameters
    ----------
    load : str
        A key of ``ENGINE_LOADS``.
    air : float, K
    """
    prior = ENGINE_LOADS[load]
    return MainGas(air + prior.median, np.nan, log_spread(prior))


def from_skin(
    reading: SkinReading,
    pipe: MainPipe,
    gas: MixtureTable,
    surroundings: Surroundings,
    flow: Flow,
    pipe_emissivity_spread: float,
) -> MainGas:
    """The main gas from a reading of the main pipe's skin.

    The first design is the middle of everything, the others are draws: of the reading, both
    emissivities, the air, the flow, the inner film and the outer film. The outer film and the air
    are uncertain along the branch too; that both err together is left out.

    Parameters
    ----------
    reading : SkinReading
    pipe, gas, surroundings, flow
        Batches of one.
    pipe_emissivity_spread : float
        Standard deviation of the logit of the main pipe's emissivity; 0 where it is known.
    """
    z = np.vstack([np.zeros(7), standard_normal(DRAWS, 7)])
    many = len(z)
    air = surroundings.air_temperature + AIR_TEMPERATURE_SPREAD * z[:, 0]
    around = surroundings.repeat(many).changed(
        air_temperature=air,
        radiant_temperature=surroundings.radiant_temperature + AIR_TEMPERATURE_SPREAD * z[:, 0],
    )
    own = _emissivity(pipe.emissivity, pipe_emissivity_spread * z[:, 1])
    shift = z[:, 1] if reading.is_pipes_own else z[:, 2]
    seen = _emissivity(np.array([reading.emissivity]), reading.emissivity_spread * shift)
    displayed = reading.displayed + reading.uncertainty * z[:, 3]
    skin = displayed
    if reading.infrared:
        set_to = np.full(many, reading.emissivity_set)
        one = np.ones(many)
        mirrored = around.radiant_temperature
        # The thermometer itself reckons with the air's temperature, as the readings of a fit do.
        skin = skin_from_infrared(
            displayed, seen, set_to, mirrored, around.air_temperature, one, mirrored
        )
    assumed = bool(np.isfinite(flow.speed[0]))
    factor = np.exp((ASSUMED_SPEED_SPREAD if assumed else FLOW_SPREAD) * z[:, 4])
    drawn = pipe.repeat(many).changed(
        emissivity=own,
        mass_flow=pipe.mass_flow * factor,
        film_augmentation=pipe.film_augmentation
        * np.exp(log_spread(PULSATION_AUGMENTATION) * z[:, 5]),
    )
    found = gas_temperature(
        skin,
        drawn,
        gas.take(np.zeros(many, dtype=np.intp)),
        around,
        dry_air_table(),
        Flow(flow.pressure.repeat(many), flow.speed * factor),
        np.exp(log_spread(OUTER_FILM_FACTOR) * z[:, 6]),
    )
    spread = np.nan if np.isnan(found[0]) else _spread(found, around.air_temperature)
    return MainGas(float(found[0]), float(skin[0]), spread)


def _emissivity(middle: FloatArray, shift: FloatArray) -> FloatArray:
    inside = (middle > 0) & (middle < 1)
    return np.where(inside, shifted_emissivity(np.where(inside, middle, 0.5), shift), middle)


def _spread(found: FloatArray, air: FloatArray) -> float:
    """Of the logarithm of the excess over the air, with what the model itself is trusted to.

    Draws that no gas of the tables explains lie above them all: the range that holds 68 % of the
    draws is taken from ranks, so that they count as such.
    """
    ratio = (found - air)[1:] / (found[0] - air[0])
    ranked = np.sort(np.where(np.isnan(ratio) | (ratio <= 0), np.inf, ratio))
    low, middle, high = (ranked[int(share * DRAWS)] for share in (0.159, 0.5, 0.841))
    if not np.isfinite(high):  # as wide upward as downward, or without any bound at all
        high = middle**2 / low if np.isfinite(middle) else np.e**2 * low
    if not np.isfinite(low):
        return 1.0
    drawn = float(np.log(high / low)) / 2
    return float(np.hypot(drawn, GAS_TEMPERATURE_SPREAD))
