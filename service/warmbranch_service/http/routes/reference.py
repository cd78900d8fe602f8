"""``GET /v1/reference``: the names that a case may use, with their numbers and sources."""

from __future__ import annotations

from functools import cache

from fastapi import APIRouter
from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from warmbranch.base.constants import ICE_POINT
from warmbranch.case.materials import METALS
from warmbranch.case.surfaces import SURFACES
from warmbranch.gas.combustion import AIR, FUELS, air_fuel_ratio
from warmbranch.gas.gas import SPECIES
from warmbranch_service.case.around import PLACES
from warmbranch_service.contract.fields import AnswerModel, JsonSchema
from warmbranch_service.contract.forms import CONTENT, MEDIA_TYPES, VARY, form_of, written
from warmbranch_service.http.passage.conditional import answered, etag_of
from warmbranch_service.http.routes.strict_route import problem_responses
from warmbranch_service.steady.answer import celsius_or_none, digits

router = APIRouter(tags=["model"])


class Point(AnswerModel):
    """One handbook value."""

    temperature_degC: float = Field(description="At which.", json_schema_extra={"x-unit": "degC"})
    value: float = Field(
        description="In the unit of the list's name.",
        json_schema_extra={"x-unit": "that of the field which holds it", "minimum": 0},
    )


class MaterialAnswer(AnswerModel):
    """One metal."""

    name: str = Field(description="As a case may use it.")
    density_kg_m3: float = Field(description="At 20 degC.", json_schema_extra={"x-unit": "kg/m3"})
    conductivity_W_mK: list[Point] = Field(
        description="Against temperature; straight lines join the points.",
        json_schema_extra={"x-unit": "W/mK"},
    )
    heat_capacity_J_kgK: list[Point] = Field(
        description="Likewise.", json_schema_extra={"x-unit": "J/kgK"}
    )
    limit_degC: float | None = Field(
        description="Usual limit of long service in air; null if not known.",
        json_schema_extra={"x-unit": "degC"},
    )
    source: str = Field(description="Where the numbers are from.")


class SurfaceAnswer(AnswerModel):
    """One kind of skin."""

    name: str = Field(description="As a case may use it.")
    emissivity: float = Field(
        description="Total, for the heat balance.", json_schema_extra={"x-unit": "1"}
    )
    longwave_emissivity: float = Field(
        description="8 to 14 µm, for infrared thermometers.", json_schema_extra={"x-unit": "1"}
    )
    emissivity_from: float = Field(
        description="Lowest met in practice.", json_schema_extra={"x-unit": "1"}
    )
    emissivity_to: float = Field(
        description="Highest met in practice.", json_schema_extra={"x-unit": "1"}
    )
    source: str = Field(description="Where the numbers are from.")


class FuelAnswer(AnswerModel):
    """One fuel, as C H_y O_z."""

    name: str = Field(description="As a case may use it.")
    hydrogen_per_carbon: float = Field(description="Atoms.", json_schema_extra={"x-unit": "1"})
    oxygen_per_carbon: float = Field(description="Atoms.", json_schema_extra={"x-unit": "1"})
    air_fuel_ratio: float = Field(
        description="Mass of dry air that just burns unit mass.", json_schema_extra={"x-unit": "1"}
    )
    source: str = Field(description="Where the numbers are from.")


class UsualSurroundings(AnswerModel):
    """What stands for the surroundings that nobody measured; common practice, no source."""

    name: str = Field(description="As a case's surroundings may use it.")
    air_temperature_degC: float = Field(
        description="Of the air.", json_schema_extra={"x-unit": "degC"}
    )
    air_temperature_spread_K: float = Field(
        description="One standard deviation of it.", json_schema_extra={"x-unit": "K"}
    )
    air_speed_m_s: float = Field(description="Of the air.", json_schema_extra={"x-unit": "m/s"})
    air_speed_factor: float = Field(
        description="Up and down from it, which holds 95 %.", json_schema_extra={"x-unit": "1"}
    )
    radiant_temperature_degC: float = Field(
        description="Of what the branch faces.", json_schema_extra={"x-unit": "degC"}
    )
    radiant_temperature_spread_K: float = Field(
        description="One standard deviation of how much warmer than the air that is.",
        json_schema_extra={"x-unit": "K"},
    )


class ReferenceAnswer(AnswerModel):
    """Everything that has a name in a case."""

    materials: list[MaterialAnswer]
    surfaces: list[SurfaceAnswer]
    fuels: list[FuelAnswer]
    places: list[UsualSurroundings]
    gases: list[str] = Field(description="Names that mole_fractions may use.")
    air: str = Field(description="Name that stands for no fuel at all.")


_ETAG: JsonSchema = {"ETag": {"$ref": "#/components/headers/ETag"}}


@router.get(
    "/v1/reference",
    summary="Materials, surfaces, fuels and places, with sources",
    response_class=Response,
    responses={
        200: {
            "model": ReferenceAnswer,
            "description": "The tables.",
            "headers": _ETAG,
            "content": CONTENT,
        },
        **problem_responses(406),
        304: {"description": "The version that If-None-Match names still holds.", "headers": _ETAG},
    },
    openapi_extra={
        "parameters": [
            {
                "name": "If-None-Match",
                "in": "header",
                "description": "ETag of an answer that is at hand, several with commas between.",
                "schema": {"type": "string", "examples": ['"5d41402abc4b2a76"']},
            }
        ]
    },
)
async def reference(request: Request) -> Response:
    """List the names that a case may use."""
    form = form_of(request)
    content, etag = _kept(form)
    headers = {"cache-control": "public, max-age=3600", **VARY}
    return answered(request, content, etag=etag, media_type=MEDIA_TYPES[form], headers=headers)


@cache
def _kept(form: str) -> tuple[bytes, str]:
    content = written(reference_answer(), form, "reference")
    return content, etag_of(content)


def reference_answer() -> ReferenceAnswer:
    """The tables of the physics, in the units of the service."""
    return ReferenceAnswer(
        materials=[
            MaterialAnswer(
                name=name,
                density_kg_m3=record.density,
                conductivity_W_mK=_points(record.conductivity_points),
                heat_capacity_J_kgK=_points(record.heat_capacity_points),
                limit_degC=celsius_or_none(record.limit_temperature, 1),
                source=record.source,
            )
            for name, record in METALS.items()
        ],
        surfaces=[
            SurfaceAnswer(
                name=name,
                emissivity=record.emissivity,
                longwave_emissivity=record.longwave_emissivity,
                emissivity_from=record.low,
                emissivity_to=record.high,
                source=record.source,
            )
            for name, record in SURFACES.items()
        ],
        fuels=[
            FuelAnswer(
                name=name,
                hydrogen_per_carbon=digits(fuel.hydrogen, 4),
                oxygen_per_carbon=digits(fuel.oxygen, 4),
                air_fuel_ratio=digits(air_fuel_ratio(name), 4),
                source=fuel.source,
            )
            for name, fuel in FUELS.items()
        ],
        places=[
            UsualSurroundings(
                name=name,
                air_temperature_degC=place.air_temperature_degC,
                air_temperature_spread_K=place.air_spread,
                air_speed_m_s=place.air_speed,
                air_speed_factor=place.speed_factor,
                radiant_temperature_degC=place.air_temperature_degC + place.faced,
                radiant_temperature_spread_K=place.faced_spread,
            )
            for name, place in PLACES.items()
        ],
        gases=list(SPECIES),
        air=AIR,
    )


def _points(points: tuple[tuple[float, float], ...]) -> list[Point]:
    return [Point(temperature_degC=round(t - ICE_POINT, 2), value=value) for t, value in points]
