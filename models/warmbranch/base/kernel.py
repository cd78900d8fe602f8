"""Whether the compiled loops are at hand, and calling them.

Everything works without them, on numpy alone, with the same answers to rounding; they are some
tens of times quicker. Loading them costs about a second (a minute once after installation, to
compile), so it is never done behind a caller's back: ``load`` does it, a service does it in the
background, and batches large enough to repay it do it themselves. ``WARMBRANCH_KERNEL=off``
keeps to numpy.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Generator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from threading import Lock
from typing import TYPE_CHECKING, Any, NamedTuple, cast

import numpy as np

from warmbranch.base import stopping
from warmbranch.base.batch import ComplexArray, FloatArray

if TYPE_CHECKING:
    from warmbranch.case.main_pipe import MainPipe
    from warmbranch.case.surroundings import Surroundings
    from warmbranch.gas.gas import MixtureTable
    from warmbranch.heat.heat_balance import HeatBalance
    from warmbranch.sound.acoustics import Duct

REPAYS_LOADING = 200
"""Designs from which a batch loads the compiled loops by itself."""

OFF = "WARMBRANCH_KERNEL"
"""Environment variable that keeps to numpy when it says ``off``."""


@dataclass(frozen=True)
class Kernel:
    """The compiled functions: see compiled.py and its companions."""

    outside: Callable[..., Any]
    inside: Callable[..., Any]
    table: Callable[..., Any]
    newton: Callable[..., FloatArray]
    main_pipe_wall: Callable[..., tuple[FloatArray, FloatArray]]
    refined: Callable[..., tuple[FloatArray, FloatArray, FloatArray, FloatArray]]
    cells: Callable[..., Any]
    search: Callable[..., Any]
    mouth_impedance: Callable[..., ComplexArray]
    flow: Callable[..., tuple[ComplexArray, FloatArray]]
    resonances: Callable[..., FloatArray]
    effective_temperatures: Callable[..., FloatArray]
    cut: Callable[..., FloatArray]


class CellMeans(NamedTuple):
    """What a profile comes to in each cell; every field (designs, cells), as those of ``Duct``."""

    density: FloatArray
    compliance: FloatArray
    viscosity: FloatArray
    heat_capacity_ratio: FloatArray
    prandtl: FloatArray
    length: FloatArray
    inertance_ratio: FloatArray
    skew: FloatArray


_lock = Lock()
_kernel: Kernel | None = None
_own: ContextVar[Kernel | None] = ContextVar("own_kernel", default=None)
_may_load: ContextVar[bool] = ContextVar("may_load", default=True)


def allowed() -> bool:
    """Whether the environment lets the compiled loops be used."""
    return os.environ.get(OFF, "").lower() != "off"


def load(first_use: Callable[[], object] | None = None) -> Kernel | None:
    """Load the compiled loops; None where the environment forbids them or numba is missing.

    Parameters
    ----------
    first_use : callable, optional
        Run on them before any other thread is handed them. numba reads or compiles a loop when
        it is first called, which others are thus spared.
    """
    global _kernel
    if not allowed():
        return None
    with _lock:
        if _kernel is None:
            try:
                kernel = _imported()
            except ImportError:
                return None
            if first_use is not None:
                token = _own.set(kernel)
                try:
                    first_use()
                finally:
                    _own.reset(token)
            _kernel = kernel
    return _kernel


def settle() -> bool:
    """Load the compiled loops and wait for it; whether every later answer comes from them."""
    return load() is not None


def is_settled() -> bool:
    """Whether every answer from now on is the compiled loops', or none will ever be."""
    return _kernel is not None or not allowed()


@contextmanager
def no_loading() -> Generator[None]:
    """Within this, loops that are not loaded yet stay so: for who must answer soon."""
    token = _may_load.set(False)
    try:
        yield
    finally:
        _may_load.reset(token)


def at_hand(designs: int) -> Kernel | None:
    """The compiled loops if they are loaded, or if so many designs repay loading them."""
    if not allowed():
        return None
    if _kernel is None and (own := _own.get()) is not None:
        return own
    if _kernel is None and designs >= REPAYS_LOADING and _may_load.get():
        return load()
    return _kernel


def _imported() -> Kernel:
    from warmbranch.base import compiled
    from warmbranch.heat import compiled_outside, compiled_steady
    from warmbranch.sound import compiled_cutting, compiled_line, compiled_sound, compiled_tube
    from warmbranch.steady import compiled_sketch

    return Kernel(
        outside=compiled.Outside,
        inside=compiled.Inside,
        table=compiled.Table,
        newton=cast("Any", compiled_steady.newton),
        main_pipe_wall=cast("Any", compiled_outside.main_pipe_wall),
        refined=cast("Any", compiled_sketch.refined),
        cells=compiled_line.Cells,
        search=compiled_sound.Search,
        mouth_impedance=cast("Any", compiled_tube.mouth_impedance),
        flow=cast("Any", compiled_tube.flow),
        resonances=cast("Any", compiled_sound.resonances),
        effective_temperatures=cast("Any", compiled_sound.effective_temperatures),
        cut=cast("Any", compiled_cutting.cut),
    )


def solve_heat(
    kernel: Kernel,
    balance: HeatBalance,
    temperatures: tuple[FloatArray, FloatArray, FloatArray],
    bounds: tuple[FloatArray, FloatArray],
    tolerances: tuple[float, float, float, FloatArray, float],
    damping: tuple[int, float, int],
) -> FloatArray:
    """Newton's method on every design, in place; heat, iterations and last step of each."""
    case = balance.case
    outside = _outside(
        kernel,
        balance.air,
        case.surroundings,
        diameter=balance.skin_diameter,
        length=case.branch.length,
        rise=case.branch.rise,
        factor=case.closures.outer_film_factor,
        fixed=case.closures.fixed_outer_film,
        emissivity=case.covering.emissivity,
    )
    inside = kernel.inside(
        *map(
            _plain,
            (
                balance.gas.packed,
                balance.gas.gas_constant,
                balance.x,
                balance.forced_diffusivity,
                case.branch.bore,
                case.branch.wall_area,
                case.branch.rise,
                balance.buoyancy,
                case.closures.stanton,
                case.closures.fixed_inner_film,
                case.metal.conductivity_coefficients,
                balance.wrap_conductance,
            ),
        )
    )
    low, high = (_plain(bound[:, 0]) for bound in bounds)
    grid = _grid(kernel, balance.air)
    return kernel.newton(
        inside, outside, grid, *temperatures, low, high, *tolerances, *damping, stopping.flag()
    )


def refined(
    kernel: Kernel,
    profile: tuple[FloatArray, FloatArray, FloatArray, FloatArray],
    nodes: int,
    cap_crowding: FloatArray,
    faint: float,
    evenness: float,
    smoothings: int,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Nodes where a profile bends, and its temperatures there."""
    return kernel.refined(
        *map(_plain, profile), nodes, _plain(cap_crowding), faint, evenness, smoothings
    )


def main_pipe_wall(
    kernel: Kernel,
    pipe: MainPipe,
    surroundings: Surroundings,
    air: MixtureTable,
    supply: FloatArray,
    tolerance: float,
    most: int,
) -> tuple[FloatArray, FloatArray]:
    """Wall temperature of the main pipe from its own balance, and the last step, K."""
    outside = _outside(
        kernel,
        air,
        surroundings,
        diameter=pipe.outside_diameter,
        length=np.ones(len(pipe)),
        rise=np.zeros(len(pipe)),
        factor=np.ones(len(pipe)),
        fixed=np.full(len(pipe), np.nan),
        emissivity=pipe.emissivity,
    )
    return kernel.main_pipe_wall(
        outside, _grid(kernel, air), _plain(supply), _plain(pipe.gas_temperature), tolerance, most
    )


def cut(
    kernel: Kernel,
    gas: MixtureTable,
    position: FloatArray,
    temperature: FloatArray,
    pressure: FloatArray,
    inertance_ratio: FloatArray,
    cells: int,
) -> CellMeans:
    """Means of profiles over the cells that they are cut into."""
    found = kernel.cut(
        _plain(gas.packed),
        _plain(gas.gas_constant),
        _grid(kernel, gas),
        _plain(position),
        _plain(temperature),
        _plain(pressure),
        _plain(inertance_ratio),
        cells,
    )
    return CellMeans(*found)


def mouth_impedance(kernel: Kernel, duct: Duct, frequency: FloatArray) -> ComplexArray:
    """p/U of the duct at its mouth, mouth inertance included."""
    return kernel.mouth_impedance(_cells(kernel, duct), _plain(frequency))


def flow(kernel: Kernel, duct: Duct, frequency: FloatArray) -> tuple[ComplexArray, FloatArray]:
    """p/U at the mouth, inertance included, and |U| at the cells' edges over that at the mouth."""
    return kernel.flow(_cells(kernel, duct), _plain(frequency))


def resonances(
    kernel: Kernel,
    duct: Duct,
    start: FloatArray,
    slope: FloatArray,
    coarse: tuple[float, float, int],
    fine: tuple[float, float, int],
) -> FloatArray:
    """Resonances from (designs, modes) starts, Hz; ``slope`` (designs,), rad/Hz."""
    return kernel.resonances(
        _cells(kernel, duct),
        _plain(start),
        _plain(slope),
        _plain(duct.mouth_impedance),
        kernel.search(*coarse),
        kernel.search(*fine),
        stopping.flag(),
    )


def effective_temperatures(
    kernel: Kernel,
    duct: Duct,
    gas: MixtureTable,
    pressure: FloatArray,
    frequency: FloatArray,
    log_start: FloatArray,
    search: tuple[float, float, int],
) -> FloatArray:
    """ln of the effective temperatures, (designs,)."""
    return kernel.effective_temperatures(
        _cells(kernel, duct),
        bool((duct.inertance_ratio == 1).all()),
        _plain(gas.packed),
        _grid(kernel, gas),
        _plain(gas.gas_constant),
        _plain(pressure),
        duct.wall_losses.copy(),
        _plain(frequency),
        _plain(log_start),
        kernel.search(*search),
        stopping.flag(),
    )


def _cells(kernel: Kernel, duct: Duct) -> Any:
    return kernel.cells(*map(_plain, duct.packed))


def _grid(kernel: Kernel, air: MixtureTable) -> Any:
    return kernel.table(*air.grid)


def _outside(
    kernel: Kernel,
    air: MixtureTable,
    surroundings: Surroundings,
    *,
    diameter: FloatArray,
    length: FloatArray,
    rise: FloatArray,
    factor: FloatArray,
    fixed: FloatArray,
    emissivity: FloatArray,
) -> Any:
    return kernel.outside(
        _plain(air.packed[0]),
        float(air.gas_constant[0]),
        *map(
            _plain,
            (
                surroundings.air_temperature,
                surroundings.radiant_temperature,
                surroundings.pressure,
                surroundings.air_speed,
                diameter,
                length,
                rise,
                factor,
                fixed,
                emissivity,
            ),
        ),
    )


def _plain(array: FloatArray) -> FloatArray:
    """The array as compiled code knows it; any other layout would be compiled for again."""
    flags = array.flags
    return array if flags.c_contiguous and flags.writeable else array.copy(order="C")
