"""The warm-up's heat balance at one moment, on numpy; the same in C: core/warm_moment.c.

Slower by some tens of times, the same equations from heat_balance.py and banded.py, and the same
time loop: see stepping.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.case import Case
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.banded import latent_change, newton_step, outside_loss
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.linearised import Linearised
from warmbranch.heat.main_pipe_wall import inner_film
from warmbranch.heat.mouth_exchange import mouth_resistance
from warmbranch.heat.outside import film_on_pipe
from warmbranch.heat.radiation import radiative_flux
from warmbranch.warming import stepping, storage
from warmbranch.warming.dense_output import DRIED, GAS, SKIN, WALL
from warmbranch.warming.stepping import LOOSE_AFTER, LOOSE_STEP, LOST, MOST_NEWTON_STEPS, Settings
from warmbranch.warming.storage import Forcing, Store


@dataclass(frozen=True)
class PlainSystem:
    """Everything that the balance at one moment needs, one entry a design.

    Parameters
    ----------
    case : Case
    gas, air : MixtureTable
    x : (designs, nodes) array, m
    stirred : (designs, nodes) array, m
        Mixing by stirring over the main pipe's gas speed.
    shaken, constant : (designs, nodes) array, m²/s
        Mixing by pulsation at the running mass flow; fixed mixing.
    main_film : (designs,) array, dimensionless
        Inner film of the main pipe over that of steady flow.
    """

    case: Case
    gas: MixtureTable
    air: MixtureTable
    x: FloatArray
    stirred: FloatArray
    shaken: FloatArray
    constant: FloatArray
    main_film: FloatArray

    def at(self, forcing: Forcing, i: int, piece: int, time: float) -> HeatBalance:
        """The balance of design ``i`` at one moment."""
        one = np.array([i])
        case, gas = self.case.take(one), self.gas.take(one)
        hot = storage.gas_at(forcing, i, piece, time)
        flow = storage.flow_at(forcing, i, piece, time)
        density = gas.density(np.array([[hot]]), case.surroundings.pressure)[0, 0]
        speed = flow / (density * float(case.main_pipe.bore_area[0]))
        running = float(case.main_pipe.mass_flow[0])
        louder = flow / running if running > 0 else 1.0
        forced = self.constant[one] + speed * self.stirred[one] + louder**2 * self.shaken[one]
        outside = replace(
            case.surroundings, air_speed=np.array([storage.air_at(forcing, i, piece, time)])
        )
        resistance = mouth_resistance(
            case, gas, np.array([speed]), np.array([hot]), louder * case.main_pipe.cap_pressure
        )
        return HeatBalance(
            replace(case, surroundings=outside),
            gas,
            self.air,
            self.x[one],
            forced,
            resistance,
            np.array([hot]),
        )


def newton(
    system: PlainSystem,
    store: Store,
    forcing: Forcing,
    settings: Settings,
    i: int,
    piece: int,
    time: float,
    rate: float,
    frozen: bool,
    here: FloatArray,
    known: FloatArray,
    heat: FloatArray,
    bounds: FloatArray,
) -> int:
    """Balance one stage in place: (heat stored − known) × rate and the steady balance.

    ``frozen`` keeps wall and skin and lets the gas alone find its balance. Into ``heat``: what
    enters by the mouth but for the mouth node's own store, and what is lost, W, both to first
    order in the last step, as the linear system holds them. Returns the steps spent, −1 if they
    did not suffice.
    """
    balance = system.at(forcing, i, piece, time)
    metal, wrap_wall, wrap_skin = (part[i] for part in store[:3])
    before, share = 0.0, 1.0
    earlier = np.zeros(here.shape[1])
    for spent in range(1, MOST_NEWTON_STEPS + 1):
        gas, wall, skin = (here[part][None] for part in (GAS, WALL, SKIN))
        linear = balance.linearise(gas, wall, skin)
        loss, loss_slope = linear.skin_loss[0].copy(), linear.skin_slope[0].copy()
        own_store, wet = 0.0, linear.vapour
        here[DRIED] = 0.0 if wet is None else wet.dried[0]
        entering = linear.gas[0, 0] + (0.0 if wet is None else wet.latent.sum())
        if frozen:
            linear = _frozen(linear)
        else:
            capacity = store.capacity[i]
            kept = metal * storage.stored_heat(capacity, here[WALL]) + wrap_wall * here[WALL]
            slope = metal * storage.heat_capacity(capacity, here[WALL]) + wrap_wall
            own_store = float((kept[0] - known[0, 0]) * rate)
            in_skin = (wrap_skin * here[SKIN] - known[1]) * rate
            linear = linear._replace(
                wall=linear.wall + (kept - known[0]) * rate,
                wall_here=linear.wall_here + slope * rate,
                skin_loss=linear.skin_loss + in_skin,
                skin_slope=linear.skin_slope + wrap_skin * rate,
            )
        step = newton_step(linear)
        changes = step[:3]
        largest = max(float(np.max(np.abs(change))) for change in changes)
        if np.isnan(largest):
            return -1
        through, _ = outside_loss(linear)
        entering += linear.wall[0, 0] - own_store + through[0, 0]
        by_gas, by_wall, by_skin = (change[0] for change in changes)
        last = largest < settings.newton_step or (
            largest < before and largest * largest < settings.foretold_step * before
        )
        last = last or (spent > LOOSE_AFTER and largest < LOOSE_STEP)
        before = largest
        where = int(np.argmax(np.abs(by_gas)))
        swing = by_gas[where], earlier[where]
        share = 1.0 if last else stepping.share_of_step(*swing, share)
        earlier = by_gas
        for part, change in zip((GAS, WALL, SKIN), (by_gas, by_wall, by_skin), strict=True):
            here[part] = np.minimum(np.maximum(here[part] + share * change, bounds[0]), bounds[1])
        if last:
            entering += (linear.gas_here[0, 0] + linear.wall_gas_here[0, 0]) * by_gas[0]
            entering += (linear.gas_right[0, 0] + linear.wall_gas_right[0, 0]) * by_gas[1]
            entering += linear.wall_right[0, 0] * by_wall[1]
            heat[0] = entering + latent_change(linear, step)[0]
            heat[LOST] = float(np.sum(loss + loss_slope * by_skin))
            return spent
    return -1


def rates(
    system: PlainSystem,
    store: Store,
    forcing: Forcing,
    i: int,
    piece: int,
    time: float,
    here: FloatArray,
    slope: FloatArray,
    heat: FloatArray,
) -> None:
    """Rates of heating of wall and skin, W, and the heat that enters and is lost."""
    balance = system.at(forcing, i, piece, time)
    linear = balance.linearise(*(here[part][None] for part in (GAS, WALL, SKIN)))
    conductance, loss = linear.wrap_conductance[0], linear.skin_loss[0]
    through = loss.copy()
    wrapped = ~np.isinf(conductance)
    through[wrapped] = conductance[wrapped] * linear.wall_over_skin[0][wrapped]
    slope[0] = -(linear.wall[0] + through)
    slope[1] = through - loss
    latent = 0.0 if linear.vapour is None else linear.vapour.latent.sum()
    heat[0] = linear.gas[0, 0] + latent + linear.wall[0, 0] + through[0]
    heat[LOST] = loss.sum()


def main_flux(
    system: PlainSystem, forcing: Forcing, i: int, piece: int, time: float, wall: float
) -> tuple[float, float]:
    """Heat that the main pipe's wall takes up over its outer surface, W/m², and its slope."""
    one = np.array([i])
    case = system.case.take(one)
    hot = storage.gas_at(forcing, i, piece, time)
    flow = storage.flow_at(forcing, i, piece, time)
    pipe = replace(
        case.main_pipe,
        gas_temperature=np.array([hot]),
        mass_flow=np.array([flow]),
        film_augmentation=system.main_film[one],
    )
    supply = float((inner_film(pipe, system.gas.take(one)) * pipe.bore / pipe.outside_diameter)[0])
    outside = replace(
        case.surroundings, air_speed=np.array([storage.air_at(forcing, i, piece, time)])
    )
    film = film_on_pipe(pipe, outside, system.air)
    at = np.array([[wall]])
    convection, convection_slope = film.flux(at)
    radiation, radiation_slope = radiative_flux(
        at, outside.radiant_temperature[:, None], pipe.emissivity[:, None]
    )
    flux = supply * (hot - wall) - float((convection + radiation)[0, 0])
    return flux, -supply - float((convection_slope + radiation_slope)[0, 0])


def _frozen(linear: Linearised) -> Linearised:
    """The same system for the gas alone: wall and skin keep their temperatures."""
    nothing, one = np.zeros_like(linear.wall), np.ones_like(linear.wall)
    return linear._replace(
        wall=nothing,
        wall_left=nothing,
        wall_here=one,
        wall_right=nothing,
        wall_gas_left=nothing,
        wall_gas_here=nothing,
        wall_gas_right=nothing,
        skin_loss=nothing,
        skin_slope=nothing,
        wrap_conductance=np.full_like(one, np.inf),
        vapour=None,
    )


_main_wall = stepping.bound(stepping.main_wall, main_flux=main_flux)
_step = stepping.bound(stepping.step, main_wall=_main_wall, newton=newton)
integrate = stepping.bound(
    stepping.integrate, step=_step, newton=newton, rates=rates, main_flux=main_flux
)
