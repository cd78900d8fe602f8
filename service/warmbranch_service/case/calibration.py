"""What a fit or a shop learned, as an object that travels in ``case.closures.calibration``."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from warmbranch.belief.shop import USUAL
from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch_service.case.shop import Shop
from warmbranch_service.contract.fields import OneOf, Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import rules
from warmbranch_service.contract.units import PURE_NUMBER

VERSION: Literal[2] = 2
"""2 since the mouth resists: what older ones learned belongs to another model."""

Coordinate = Annotated[float, Quantity("1", PURE_NUMBER, low=-1e3, high=1e3)]
Row = Annotated[list[Coordinate], Field(max_length=len(UNKNOWNS))]

# The square of the widest mean: the air's temperature may be uncertain by 50 K, 2500 K².
Covariance = Annotated[float, Quantity("1", PURE_NUMBER, low=-1e6, high=1e6)]
CovarianceRow = Annotated[list[Covariance], Field(max_length=len(UNKNOWNS))]


class Calibration(RequestModel):
    """Means and covariance of the unknowns after a fit; send it back unchanged.

    It replaces the coefficients that it names and shifts the temperatures and the emissivity of
    the case; predictions made with it carry intervals. With a shop it is of many finished jobs:
    it stands in place of the usual priors of the coefficients that those share, as far as the case
    is like them, and all else stays as unsure as the case leaves it.
    """

    model_config = rules(
        unsaid={
            "broken_calibration": "unknowns names each once; mean has one entry for each, and "
            "covariance one row and one column; with a shop they are those that jobs share.",
            "refused_by_physics": "covariance is symmetric and positive, as a fit returns it.",
        }
    )

    version: Literal[2] = Field(
        description="Version of this object's form. Calibrations of version 1 belong to an older "
        "model: fit again.",
        json_schema_extra={"x-unit": "1"},
    )
    model_version: Annotated[str, Field(max_length=40)] = Field(
        description="Version of the model that was fitted.", examples=["0.2.0"]
    )
    unknowns: Annotated[
        list[Annotated[str, OneOf("unknown", UNKNOWNS)]], Field(max_length=len(UNKNOWNS))
    ] = Field(
        description="Names, in the order of mean and covariance.", examples=[["stirring", "reach"]]
    )
    mean: Row = Field(
        description="In each unknown's own coordinate: the natural logarithm of a coefficient; "
        "the shift of the air temperature in K; the natural logarithm of the main gas's excess "
        "over the air, over that of the case; the shift of the logit of the emissivity.",
        examples=[[-1.7, 2.3]],
        json_schema_extra={"x-unit": "1"},
    )
    covariance: Annotated[list[CovarianceRow], Field(max_length=len(UNKNOWNS))] = Field(
        description="Of the same coordinates, row by row.",
        examples=[[[0.4, -0.1], [-0.1, 0.3]]],
        json_schema_extra={"x-unit": "1"},
    )

    shop: Shop | None = Field(
        default=None,
        description="What it was learned on, of a shop's calibration by POST /v1/learn. Default "
        "null: of one branch, by a fit.",
    )

    @model_validator(mode="after")
    def _fits_together(self) -> Calibration:
        size = len(self.unknowns)
        if len(self.mean) != size or any(len(row) != size for row in self.covariance):
            raise _refused(f"It names {size} unknowns, which mean and covariance do not match.")
        if len(self.covariance) != size or len(set(self.unknowns)) != size:
            raise _refused(f"Its covariance has not one row for each of {size} unknowns.")
        if self.shop is not None and not set(self.unknowns) <= set(USUAL):
            raise _refused("It has a shop, and unknowns that are of one job alone.")
        return self


def _refused(detail: str) -> PydanticCustomError:
    return refusal(
        "broken_calibration",
        detail,
        "Give the calibration as POST /v1/fit or POST /v1/learn returned it, unchanged.",
        at=["unknowns"],
    )
