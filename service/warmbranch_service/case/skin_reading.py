"""A reading of the main pipe's skin, and what every infrared reading is asked."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from warmbranch_service.case.branch import Surface
from warmbranch_service.contract.fields import Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import left_out, rules
from warmbranch_service.contract.units import PURE_NUMBER, TEMPERATURE, TEMPERATURE_DIFFERENCE

LEAST_EMISSIVITY = 0.01
"""Of what an infrared thermometer looks at: below, it sees reflections alone."""


MeasuredEmissivity = Annotated[
    float | None, Quantity("1", PURE_NUMBER, low=LEAST_EMISSIVITY, high=1, nullable=True)
]
MEASURED_TEXT = (
    "Measured emissivity, 8 to 14 µm, of the surface looked at, in place of its name; taken as "
    "true. Default null."
)


def refuse_two_surfaces(surface: str | None, emissivity: float | None) -> None:
    """Refuse a reading of a named surface that gives a measured emissivity too."""
    if surface is not None and emissivity is not None:
        raise refusal(
            "surface_given_twice",
            "Surface and emissivity are both given.",
            "Give the name of a surface or an emissivity, not both.",
            unit="1",
            at=["emissivity"],
            value=emissivity,
        )


class MainSkinReading(RequestModel):
    """One reading of the main pipe's skin beside the mouth, as displayed."""

    model_config = rules(
        (left_out("surface"), left_out("emissivity")),
        unsaid={"skin_too_hot": "Some gas that the model admits keeps the skin that warm."},
    )

    displayed_degC: Annotated[float, Quantity("degC", TEMPERATURE, low=-50, high=1000)] = Field(
        description="What the thermometer showed, running warm.", examples=[236, "457 F"]
    )
    thermometer: Literal["infrared", "contact"] = Field(
        default="infrared", description="Whether it sees or touches the skin. Default infrared."
    )
    surface: Surface = Field(
        default=None,
        description="Name of the surface looked at, such as a dab of matt black paint; see GET "
        "/v1/reference. Default null: the main pipe's own.",
        examples=["matt black paint"],
    )
    emissivity: MeasuredEmissivity = Field(default=None, description=MEASURED_TEXT, examples=[0.95])
    emissivity_set: Annotated[float, Quantity("1", PURE_NUMBER, low=LEAST_EMISSIVITY, high=1)] = (
        Field(
            default=0.95,
            description="What an infrared thermometer was set to. Default 0.95.",
            examples=[0.95],
        )
    )
    uncertainty_K: Annotated[
        float | None, Quantity("K", TEMPERATURE_DIFFERENCE, low=0.1, high=100, nullable=True)
    ] = Field(
        default=None,
        description="Standard deviation of what it showed. Default null: 2 K or 2 % of the °C, "
        "whichever is more.",
        examples=[4],
    )

    @model_validator(mode="after")
    def _one_surface(self) -> MainSkinReading:
        refuse_two_surfaces(self.surface, self.emissivity)
        return self

    def refuse_mirror(self, own: float | None) -> None:
        """Refuse an infrared reading of the pipe's own skin where its emissivity tells nothing.

        Parameters
        ----------
        own : float or None
            Emissivity of the main pipe; None where a surface's name sets it.
        """
        looks_at_own = self.surface is None and self.emissivity is None
        if own is None or own >= LEAST_EMISSIVITY or not looks_at_own:
            return
        if self.thermometer == "infrared":
            raise refusal(
                "skin_mirrors",
                "skin_reading is an infrared reading of the main pipe's own skin, which sends out "
                "nothing that could be read.",
                f"Give {LEAST_EMISSIVITY:g} or more, or the reading's own emissivity.",
                unit="1",
                at=["emissivity"],
                value=own,
            )
