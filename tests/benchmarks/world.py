"""One branch as its owner tells it, as it is, and how it is read and heard.

Truths start as draws from what the model holds likely of its coefficients, with the widths of
:data:`CONTROL`, so that worlds stay the same whatever the fit believes. ``worlds.py`` and
``more_worlds.py`` change them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import synthetic
from amended import Amended, settled

from warmbranch.base.interpolation import interpolated
from warmbranch.belief.burning import sound_of
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.case.case import Case
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.fit.readings import OWN, Heard, Readings, usual_uncertainty
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.discretise import heat_balance
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.heat.profile import TemperatureProfile
from warmbranch.heat.temperature import solve_steady
from warmbranch.sound.resonance import resonances
from warmbranch.steady.interplay import Mouth, state_of
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import warm_up
from warmbranch.warming.wander import ducts

CONTROL = Spreads(air_temperature=5.0, gas_temperature=0.10, emissivity=0.4)
"""Widths of what belongs to the case, in the truths of every world."""

DRAWN = (
    "gas_temperature", "air_temperature", "mass_flow", "mouth_exchange", "tone_exchange",
    "stirring", "reach", "stirred_film", "buoyancy", "outer_film_factor", "emissivity",
    "mouth_factor",
)  # fmt: skip
"""Unknowns that every truth draws; what else a fit holds uncertain, worlds bring about."""

NODES = 65
LEAST_MIXING = 1e-9
"""m²/s, far below molecular: what decays abruptly needs a floor."""

SETTLED = 7200.0
"""s after a cold start."""


@dataclass
class World:
    """One branch as its owner tells it, as it is, and how it is read and heard.

    Attributes
    ----------
    told, true : Case
        One design each.
    stirred : callable, optional
        From positions, m, and the mixing of the model there to what it really is, m²/s.
    film : callable, optional
        From positions over the length to a factor on the loss outside.
    shown : callable, optional
        From positions over the length and displays, K, to what is displayed in their place.
    misplaced : callable, optional
        From noted positions, m, to where the spot really was.
    heard_over_true : float
    listening : float
        Standard deviation of one hearing, relative.
    minutes : float
        Since a cold start, of all readings and of what is heard first; infinite when warm.
    paint, own : float
        Shifts of the logits of the paint's and the bare skin's emissivity.
    kinds : tuple of float
        Shares of readings on paint, on the bare skin and by contact.
    spot : float
        Part of the spot on the tube over what is told.
    longer : float, m
        The branch over what was measured.
    rpm_step : float
        To which engine speeds are read off, of second order.
    fuel_told : bool
        Whether the owner says that petrol burns; with how much air, no owner says.
    surface : callable, optional
        From positions over the length to the emissivity of the skin there, total and longwave.
    gain : callable, optional
        From positions over the length and the main pipe's wall, K, to what the skin takes in
        besides, W/m².
    through : float
        Part of the main pipe's flow that leaves by the cap.
    probe : float
        Part of the skin's excess over the air that contact thermometers get to see.
    mirrored : float, K
        What skins mirror over what the branch radiates to.
    as_read : callable, optional
        From the case that sounds to the case that is read.
    says_how_read : bool
        Whether the owner tells the state that was read.
    stopped : float
        Minutes since the engine was switched off, of the last reading; the first was taken after
        a third of them. What is heard was heard before.
    """

    told: Case
    true: Case
    rng: np.random.Generator
    stirred: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None
    film: Callable[[np.ndarray], np.ndarray] | None = None
    shown: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None
    misplaced: Callable[[np.ndarray], np.ndarray] | None = None
    heard_over_true: float = 1.0
    listening: float = 0.01
    minutes: float = np.inf
    paint: float = 0.0
    own: float = 0.0
    kinds: tuple[float, float, float] = (0.5, 0.25, 0.25)
    spot: float = 1.0
    longer: float = 0.0
    rpm_step: float = 5.0
    fuel_told: bool = True
    surface: Callable[[np.ndarray], np.ndarray] | None = None
    gain: Callable[[np.ndarray, float], np.ndarray] | None = None
    through: float = 0.0
    probe: float = 1.0
    mirrored: float = 0.0
    as_read: Callable[[Case], Case] | None = None
    says_how_read: bool = False
    stopped: float = 0.0
    _solved: dict[float, tuple[float, np.ndarray, np.ndarray]] = field(default_factory=dict)

    @property
    def length(self) -> float:
        return float(self.told.branch.length[0])

    @property
    def spreads(self) -> Spreads:
        """How wide the owner's priors are, by what he says of the gas."""
        sound = sound_of("petrol", 1.0, fuel_told=self.fuel_told, air_told=False)
        return Spreads(composition=sound.spread, composition_shift=sound.centre)

    def solved(self, length: float | None = None) -> tuple[float, np.ndarray, np.ndarray]:
        """Resonance, Hz, positions and skin, (1, nodes), of the warm branch at a length."""
        length = self.length if length is None else length
        if length not in self._solved:
            self._solved[length] = _truth(self, length, self.true)
        return self._solved[length]

    def tone(self, length: float | None = None) -> float:
        """True first resonance, Hz."""
        return self.solved(length)[0]

    def length_for(self, tone: float) -> float:
        """Length, m, that has a true resonance of ``tone``, by secants."""
        before, here = self.length, self.length * self.tone() / tone
        for _ in range(8):
            f0, f1 = self.tone(before), self.tone(here)
            if abs(f1 / tone - 1) < 1e-5:
                break
            before, here = here, here + (tone - f1) * (here - before) / (f1 - f0)
        return here

    def read(self, count: int) -> Readings:
        """What a cheap thermometer displays at random places."""
        rng = self.rng
        position = np.sort(rng.uniform(0.06, 0.98, count)) * self.length
        kind = rng.choice(["paint", "bare", "contact"], size=count, p=self.kinds)
        readings = synthetic.to_be_read(self.told, position, tuple(kind))
        spot = position if self.misplaced is None else self.misplaced(position)
        case = self.true if self.as_read is None else self.as_read(self.true)
        spot = np.clip(spot, 0, self.length + min(self.longer, 0.0))
        skin = self._skin(case, spot)
        air = case.surroundings.air_temperature[:, None]
        skin = np.where(readings.infrared, skin, air + (skin - air) * self.probe)
        odds = {OWN: self._shift_of_own(spot), synthetic.PAINT: self.paint}
        mirrored = readings.reflected
        if self.mirrored:
            mirrored = np.full(count, case.surroundings.radiant_temperature[0] + self.mirrored)
        seen = replace(readings, share=readings.share * self.spot, reflected=mirrored)
        done = synthetic.displayed(seen, skin, case, odds, rng)
        done = replace(done, share=readings.share, reflected=readings.reflected)
        if self.shown is not None:
            shown = self.shown(position / self.length, done.displayed)
            done = replace(done, displayed=shown, uncertainty=usual_uncertainty(shown))
        return done

    def hear(self, length: float | None = None, order: float = 2.0) -> Heard:
        """One hearing of the branch at a length."""
        length = self.length if length is None else length
        tone = self.tone(length) * self._cold(length) * self.heard_over_true
        tone *= 1 + self.listening * self.rng.normal()
        heard = np.round(tone * 60 / order / self.rpm_step) * self.rpm_step * order / 60
        claimed = 0.01 * heard
        return Heard.of_warm(np.array([heard]), np.array([claimed]), np.array([length]))

    def _skin(self, case: Case, position: np.ndarray) -> np.ndarray:
        """Skins of a case at places, m, when they are read; (1, places), K."""
        if self.stopped:
            moments = np.linspace(self.stopped / 3, self.stopped, len(position)) * 60
            return synthetic.skin_at(case, Drive.engine_stop(moments[-1]), position, moments)
        if np.isfinite(self.minutes):
            moments = np.full(len(position), self.minutes * 60)
            return synthetic.skin_at(case, Drive.cold_start(SETTLED), position, moments)
        same = case is self.true
        _, x, skin = self.solved() if same else _truth(self, self.length, case)
        return interpolated(x, skin, position)

    def _shift_of_own(self, position: np.ndarray) -> float | np.ndarray:
        """Of the logit of the bare skin's emissivity at places, m, from what is told."""
        if self.surface is None:
            return self.own
        real, told = self.surface(position / self.length), self.told.covering.emissivity
        return np.log(real / (1 - real) / (told / (1 - told)))

    def _cold(self, length: float) -> float:
        """Tone at the first hearing over that of the warm branch."""
        if np.isinf(self.minutes) or length != self.length:
            return 1.0
        moments = np.array([self.minutes * 60, SETTLED])
        duct = ducts(warm_up(self.true, Drive.cold_start(SETTLED), moments))[0]
        early, warm = resonances(duct, modes=1)[0][:, 0]
        return float(early / warm)


def _truth(own: World, length: float, case: Case) -> tuple[float, np.ndarray, np.ndarray]:
    """The model's own balance of a case, with what the world has beside the model in it."""
    case = case.changed(branch=case.branch.with_length(np.array([length + own.longer])))
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
    balance = heat_balance(case, gas, air, speed, nodes=NODES)
    if own.stirred is not None:
        forced = np.maximum(own.stirred(balance.x, balance.forced_diffusivity), LEAST_MIXING)
        balance = replace(balance, forced_diffusivity=forced)
    if own.film is own.surface is own.gain is None and not own.through:
        profile = solve_steady(balance, wall)
    else:
        profile = _amended(own, balance, wall)
    duct = state_of(case, gas, Mouth.of(case, gas, speed, wall), profile).duct
    return float(resonances(duct, modes=1)[0][0, 0]), profile.position, profile.skin


def _amended(own: World, balance: HeatBalance, wall: np.ndarray) -> TemperatureProfile:
    s, case = balance.x / balance.x[:, -1:], balance.case
    none = np.zeros_like(s)
    film = none + 1 if own.film is None else own.film(s)
    blacker = none if own.surface is None else own.surface(s) - case.covering.emissivity[:, None]
    gain = none if own.gain is None else own.gain(s, float(wall[0]))
    through = own.through * case.main_pipe.mass_flow
    more = {"film": film, "blacker": blacker, "gain": gain, "through": through}
    return settled(Amended.of(balance, **more), wall, float(np.max(wall)))


def speed_times_bore(own: World) -> float:
    """Main-pipe speed times the branch's bore, which mixing is told over, m²/s."""
    case = own.true
    gas = MixtureTable.of(case.gas)
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    return float((speed * case.branch.bore)[0])


def mixing_at_mouth(own: World) -> float:
    """As the model has it, m²/s."""
    return float(own.true.closures.stirring[0]) * speed_times_bore(own)


def mixing_two_bores_in(own: World) -> float:
    """As the model has it where the stirring decays exponentially, m²/s."""
    return mixing_at_mouth(own) * float(np.exp(-2 / own.true.closures.reach[0]))


def drawn(rng: np.random.Generator) -> World:
    """A branch and a truth as the model holds likely."""
    told = synthetic.a_case(rng)
    prior = Calibration.prior(told, CONTROL)
    keep = [i for i, unknown in enumerate(prior.names) if unknown in DRAWN]
    names = [prior.names[i] for i in keep]
    coordinates = prior.mean[keep] + prior.spread[keep] * rng.normal(size=len(keep))
    true = with_unknowns(told, names, coordinates[None])
    own = World(told, true, rng, paint=synthetic.PAINT_SPREAD * rng.normal())
    own.own = float(coordinates[names.index("emissivity")])
    return own
