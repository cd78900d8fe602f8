"""From readings and tones of a request to what the physics takes."""

from __future__ import annotations

import math

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.surfaces import SURFACES
from warmbranch.fit.readings import KNOWN, OWN, Heard, Readings, usual_uncertainty
from warmbranch.fit.thermometer import share_on_tube
from warmbranch_service.case.convert import MM, Converted, kelvin
from warmbranch_service.case.main_gas import emissivity_spread
from warmbranch_service.case.schema import Case
from warmbranch_service.fit.readings import ContactReading, InfraredReading
from warmbranch_service.fit.readings import Heard as HeardGiven
from warmbranch_service.fit.request import WARM_FROM, FitRequest

LISTENING = 0.01
"""Standard deviation of a tone heard, relative, when none is given."""


def _own_emissivity(case: Case) -> float:
    """Longwave emissivity of the branch's own skin."""
    branch = case.branch
    if branch.surface is None:
        assert branch.emissivity is not None, "the schema leaves one of the two"
        return branch.emissivity
    return SURFACES[branch.surface].longwave_emissivity


def _session(request: FitRequest) -> float:
    """Time of what carries none of its own, s; NaN for warm, or unknown."""
    told = request.time_s
    return math.nan if told is None or told >= WARM_FROM else told


def _time(reading: InfraredReading | ContactReading, request: FitRequest) -> float:
    """Of one reading, s; NaN for the settled branch, or where nobody knows."""
    own = reading.time_s
    # Where while_read is given all are settled: request.py refuses earlier ones.
    return _session(request) if own is None or request.while_read is not None else own


def _air(request: FitRequest, converted: Converted) -> float:
    """Of the air about the thermometer as it read, K."""
    told = request.while_read
    if told is not None and told.air_temperature_degC is not None:
        return kelvin(told.air_temperature_degC)
    return float(converted.given.surroundings.air_temperature[0])


def known_warm(request: FitRequest) -> bool:
    """Whether what has no time is known to be of the settled branch."""
    return request.time_s is not None or any(one.time_s is not None for one in request.readings)


def readings_of(request: FitRequest, converted: Converted) -> Readings:
    """All readings of a request."""
    if not request.readings:
        return Readings.none()
    case = request.case
    wrap = 0.0 if case.branch.wrap is None else case.branch.wrap.thickness_mm
    diameter = np.array([(case.branch.outside_diameter_mm + 2 * wrap) * MM])
    air = _air(request, converted)
    rows = [
        _row(reading, case, diameter, air, _time(reading, request)) for reading in request.readings
    ]
    return Readings.concatenate(rows)


def _row(
    reading: InfraredReading | ContactReading,
    case: Case,
    diameter: FloatArray,
    air: float,
    time_s: float,
) -> Readings:
    shown = np.array([kelvin(reading.displayed_degC)])
    given = reading.uncertainty_K
    uncertainty = usual_uncertainty(shown) if given is None else np.array([given])
    one, nothing = np.ones(1), np.full(1, math.nan)
    position = np.array([reading.position_mm * MM])
    time = np.array([time_s])
    instrument = (reading.thermometer_name or "",)
    in_fahrenheit = np.array([reading.in_fahrenheit])
    if isinstance(reading, ContactReading):
        return Readings(
            position=position,
            displayed=shown,
            uncertainty=uncertainty,
            infrared=np.zeros(1, dtype=np.bool_),
            surface=(KNOWN,),
            emissivity=one,
            emissivity_spread=0 * one,
            emissivity_set=one,
            reflected=nothing,
            reflected_set=nothing,
            share=one,
            time=time,
            instrument=instrument,
            in_fahrenheit=in_fahrenheit,
        )
    surface, emissivity, spread = _skin(reading, case)
    share = one
    if reading.distance_mm is not None and reading.distance_to_spot is not None:
        share = share_on_tube(
            diameter, np.array([reading.distance_mm * MM]), np.array([reading.distance_to_spot])
        )
    reflected = reading.reflected_degC
    return Readings(
        position=position,
        displayed=shown,
        uncertainty=uncertainty,
        infrared=np.ones(1, dtype=np.bool_),
        surface=(surface,),
        emissivity=emissivity * one,
        emissivity_spread=spread * one,
        emissivity_set=reading.emissivity_set * one,
        reflected=nothing if reflected is None else np.array([kelvin(reflected)]),
        reflected_set=np.array([air]) if reading.takes_off_reflection else nothing,
        share=share,
        time=time,
        instrument=instrument,
        in_fahrenheit=in_fahrenheit,
    )


def _skin(reading: InfraredReading, case: Case) -> tuple[str, float, float]:
    """Name of the surface that a reading looks at, its emissivity and the spread of a patch's."""
    if reading.emissivity is not None:
        return KNOWN, reading.emissivity, 0.0
    if reading.surface is None or reading.surface == case.branch.surface:
        return OWN, _own_emissivity(case), 0.0
    record = SURFACES[reading.surface]
    return reading.surface, record.longwave_emissivity, emissivity_spread(record)


def heard_of(request: FitRequest, converted: Converted) -> Heard:
    """All tones heard of a request."""
    own = float(converted.given.branch.length[0])
    session = _session(request)
    parts = [_tone(heard, converted.order, own, session) for heard in request.heard]
    return Heard.concatenate(parts) if parts else Heard.none()


def _tone(heard: HeardGiven, order: float | None, own: float, session: float) -> Heard:
    if heard.quiet_rpm is not None:
        assert order is not None, "the schema asks for an engine"
        per_unit, tone, given = order / 60, heard.quiet_rpm, heard.uncertainty_rpm
    else:
        assert heard.frequency_Hz is not None, "the schema asks for one of the two"
        per_unit, tone, given = 1.0, heard.frequency_Hz, heard.uncertainty_Hz
    uncertainty = LISTENING * tone if given is None else given
    length = own if heard.centreline_length_mm is None else heard.centreline_length_mm * MM
    return Heard(
        frequency=np.array([tone * per_unit]),
        uncertainty=np.array([uncertainty * per_unit]),
        length=np.array([length]),
        time=np.array([session if heard.time_s is None else heard.time_s]),
    )
