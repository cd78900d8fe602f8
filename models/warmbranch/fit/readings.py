"""Readings of a thermometer along the branch, and quiet tones heard.

Unlike all other batches, the leading axis here is the reading.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from warmbranch.base.batch import Batched, BoolArray, FloatArray
from warmbranch.base.constants import ICE_POINT
from warmbranch.base.errors import InputError
from warmbranch.fit.thermometer import band_radiance, displayed_by_infrared
from warmbranch.warming.drive import LONGEST

OWN = "the branch's own skin"
"""Name of the surface that is neither painted nor taped."""

KNOWN = ""
"""Name of a surface whose emissivity is given and taken as true."""

COLDEST, HOTTEST = 223.15, 1273.15
"""K. What hand instruments show: −50 to 1000 °C."""

LEAST_HEARING = 0.004
"""Relative standard deviation that one hearing has at least: a minimum is broad. Our judgement."""

ROUNDING = 1e-9
"""Relative: what lies at a bound in other units may lie so far beyond it in these."""


@dataclass(frozen=True)
class Readings(Batched):
    """Temperatures as displayed.

    Parameters
    ----------
    position : (readings,) array, m
        Along the centre-line, from the mouth.
    displayed, uncertainty : (readings,) array, K
        Uncertainty is one standard deviation.
    infrared : (readings,) array of bool
        The rest are taken by contact, whose display is the skin's temperature.
    surface : tuple of str
        ``OWN``, ``KNOWN``, or the name of a patch; readings of one name share one emissivity.
    emissivity : (readings,) array, dimensionless
        8 to 14 µm; the middle of what is believed, where it is unknown.
    emissivity_spread : (readings,) array, dimensionless
        One standard deviation of the logit of a patch's emissivity.
    emissivity_set : (readings,) array, dimensionless
    reflected : (readings,) array, K
        What the skin mirrors; NaN for the case's radiant surroundings.
    reflected_set : (readings,) array, K
        What the thermometer reckons with; NaN where it leaves reflection out.
    share : (readings,) array, dimensionless
        Part of the spot on the tube.
    time : (readings,) array, s
        Since the beginning of a warm-up; NaN for a reading of the settled branch.
    instrument : tuple of str
        Name of the very thermometer, which others of its kind do not share the scale of; empty for
        one without a name.
    in_fahrenheit : (readings,) array of bool
        Whether it was written in °F: which unit it may have been taken for, ``rivals`` asks.
    """

    position: FloatArray
    displayed: FloatArray
    uncertainty: FloatArray
    infrared: BoolArray
    surface: tuple[str, ...]
    emissivity: FloatArray
    emissivity_spread: FloatArray
    emissivity_set: FloatArray
    reflected: FloatArray
    reflected_set: FloatArray
    share: FloatArray
    time: FloatArray
    instrument: tuple[str, ...] = ("",)
    in_fahrenheit: BoolArray = field(default_factory=lambda: np.zeros(1, dtype=np.bool_))

    @classmethod
    def none(cls) -> Readings:
        """No reading at all."""
        empty = np.empty(0)
        return cls(
            position=empty,
            displayed=empty,
            uncertainty=empty,
            infrared=np.empty(0, dtype=np.bool_),
            surface=(),
            emissivity=empty,
            emissivity_spread=empty,
            emissivity_set=empty,
            reflected=empty,
            reflected_set=empty,
            share=empty,
            time=empty,
            instrument=(),
            in_fahrenheit=np.empty(0, dtype=np.bool_),
        )

    @property
    def timed(self) -> BoolArray:
        """Which were taken during a warm-up, (readings,)."""
        return ~np.isnan(self.time)

    @property
    def patches(self) -> tuple[str, ...]:
        """Names of patches whose emissivity is uncertain, each once."""
        named = (
            name
            for name, spread, infrared in zip(
                self.surface, self.emissivity_spread, self.infrared, strict=True
            )
            if infrared and spread > 0 and name not in (OWN, KNOWN)
        )
        return tuple(dict.fromkeys(named))

    def spread_of(self, patch: str) -> float:
        """Prior spread of one patch's emissivity."""
        return float(self.emissivity_spread[self.surface.index(patch)])

    def check(self, length: float) -> None:
        """Refuse readings that cannot be.

        Raises
        ------
        InputError
            For a position off the branch, an emissivity outside (0, 1], a display that no hand
            instrument has.
        """
        rules = (
            ("position", "m", (self.position < 0) | (self.position > length * (1 + ROUNDING))),
            (
                "displayed",
                "K",
                (self.displayed < COLDEST * (1 - ROUNDING))
                | (self.displayed > HOTTEST * (1 + ROUNDING)),
            ),
            ("emissivity", "1", ~((self.emissivity > 0) & (self.emissivity <= 1))),
            ("emissivity_set", "1", ~((self.emissivity_set > 0) & (self.emissivity_set <= 1))),
            ("uncertainty", "K", ~(self.uncertainty > 0)),
            ("time", "s", self.timed & ~((self.time >= 0) & (self.time <= LONGEST))),
        )
        remedies = {
            "position": f"Give a distance from the mouth between 0 and {length:g} m.",
            "displayed": f"Give a temperature from {COLDEST:g} to {HOTTEST:g} K.",
            "uncertainty": "Give a standard deviation above zero.",
            "time": f"Give a time from 0, the start, to {LONGEST:g} s, or none when settled.",
        }
        for name, unit, wrong in rules:
            if np.any(wrong):
                index = int(np.argmax(wrong))
                raise InputError(
                    "This reading cannot be.",
                    field=f"readings.{index}.{name}",
                    value=float(getattr(self, name)[index]),
                    unit=unit,
                    remedy=remedies.get(name, "Give an emissivity above 0 and at most 1."),
                )

    def expected(
        self, skin: FloatArray, emissivity_odds: FloatArray, radiant: FloatArray
    ) -> FloatArray:
        """What the thermometers would show.

        Parameters
        ----------
        skin : (designs, readings) array, K
            At the readings' positions.
        emissivity_odds : (designs, readings) array
            Logit of each emissivity over the logit of ``emissivity``.
        radiant : (designs,) array, K

        Returns
        -------
        (designs, readings) array, K
        """
        if not np.any(self.infrared):
            return skin
        with np.errstate(divide="ignore"):
            odds = self.emissivity / (1 - self.emissivity) * np.exp(emissivity_odds)
        true = np.where(self.emissivity < 1, odds / (1 + np.where(np.isinf(odds), 1, odds)), 1.0)
        around, unknown = radiant[:, None], np.isnan(self.reflected)
        shown = displayed_by_infrared(
            skin,
            true,
            self.emissivity_set,
            around if np.all(unknown) else np.where(unknown, around, self.reflected),
            self.reflected_set,
            self.share,
            around,
        )
        return np.where(self.infrared, shown, skin)

    def by_mirrored(self, radiant: float) -> FloatArray:
        """By how much displays rise with what the skins mirror, (readings,), K/K.

        About what was displayed and the emissivities as told; 0 for a reading whose reflected
        temperature is told, and by contact. ``radiant`` is what is mirrored elsewhere, K.
        """
        _, mirrored = band_radiance(np.array(radiant))
        _, shown = band_radiance(self.displayed)
        slope = self.share * (1 - self.emissivity) * mirrored / (self.emissivity_set * shown)
        return np.where(self.infrared & np.isnan(self.reflected), slope, 0.0)


@dataclass(frozen=True)
class Heard(Batched):
    """Tones at which the branch was heard to cancel best.

    Parameters
    ----------
    frequency, uncertainty : (heard,) array, Hz
        Uncertainty is one standard deviation.
    length : (heard,) array, m
        Centre-line length of the build that was heard; the same branch before or after a cut.
    time : (heard,) array, s
        Since the beginning of a warm-up; NaN for a tone of the settled branch.
    """

    frequency: FloatArray
    uncertainty: FloatArray
    length: FloatArray
    time: FloatArray

    @classmethod
    def of_warm(cls, frequency: FloatArray, uncertainty: FloatArray, length: FloatArray) -> Heard:
        """Of the settled branch."""
        return cls(frequency, uncertainty, length, np.full(len(frequency), np.nan))

    @property
    def relative(self) -> FloatArray:
        """Standard deviation of ln f of one hearing by itself, at least ``LEAST_HEARING``."""
        return np.maximum(self.uncertainty / self.frequency, LEAST_HEARING)

    @classmethod
    def none(cls) -> Heard:
        """Nothing heard."""
        empty = np.empty(0)
        return cls(frequency=empty, uncertainty=empty, length=empty, time=empty)

    @property
    def timed(self) -> BoolArray:
        """Which were heard during a warm-up, (heard,)."""
        return ~np.isnan(self.time)


def usual_uncertainty(displayed: FloatArray) -> FloatArray:
    """Standard deviation of a cheap hand instrument's display, K: 2 K or 2 % of the °C.

    Common practice, no source: makers of hand instruments state about as much.
    """
    return np.maximum(2.0, 0.02 * np.abs(displayed - ICE_POINT))
